"""The zone survey: where the lines of the take-over zones must lie, and where they were found."""

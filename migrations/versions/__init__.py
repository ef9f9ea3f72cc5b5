"""The steps from an empty database to the present schema."""

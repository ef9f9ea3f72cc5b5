"""The meet report: where was called, how it was ruled, how long it took, and how it all ended."""

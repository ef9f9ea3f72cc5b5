"""Zone Docket: relay zone reports, from an umpire's flag to an announced result."""

__version__ = "0.1.0"

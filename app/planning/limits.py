"""How many seconds a search has. Read by what starts quickly, and so without the planner."""

from __future__ import annotations

from typing import Final

USUAL_S: Final = 8.5
"""Unless asked for otherwise: with starting, reading and writing, less than ten in all."""
LONGEST_BY_COMMAND_S: Final = 3600.0
LONGEST_AT_MEET_S: Final = 300

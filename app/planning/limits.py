"""What may be asked of a search: how many seconds it has, and how long stints and breaks are. Read
by what starts quickly, and so without the planner.
"""

from __future__ import annotations

from typing import Final

USUAL_S: Final = 8.0
"""Unless asked for otherwise: with starting, reading and writing, less than ten in all."""
LONGEST_BY_COMMAND_S: Final = 3600.0
LONGEST_AT_MEET_S: Final = 300
USUAL_STINT_MIN: Final = 90
USUAL_BREAK_MIN: Final = 15
"""Common practice."""
STINTS_MIN: Final = range(15, 601)
BREAKS_MIN: Final = range(5, 121)
"""What a meet may ask for in their place."""

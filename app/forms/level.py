"""What a seal reached: the baselines of ETSI EN 319 142-1, 6."""

from __future__ import annotations

from enum import StrEnum


class Level(StrEnum):
    """B-B: signed. B-T: stamped by a time-stamp authority. B-LTA: with its evidence, stamped."""

    B_B = "B-B"
    B_T = "B-T"
    B_LTA = "B-LTA"

    def is_above(self, other: Level) -> bool:
        """Whether this one says more."""
        levels = list(Level)
        return levels.index(self) > levels.index(other)

"""The roles an official can hold at a meet."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """One official may hold several; what each route asks for stands in `app/access/who_may.py`."""

    UMPIRE = "umpire"
    CHIEF_UMPIRE = "chief_umpire"
    REFEREE = "referee"
    RESULTS = "results"
    JURY = "jury"
    ORGANISER = "organiser"

    @property
    def words(self) -> str:
        """The role as people say it, in a sentence: chief umpire, results desk."""
        return "results desk" if self is Role.RESULTS else self.value.replace("_", " ")

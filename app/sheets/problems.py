"""What is wrong with a sheet, where, and what to do about it.

A file that is no table at all raises `SheetRefused`; everything else is collected as a list of
problems, so that one look at it is enough to mend the whole file.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.sheets.limits import MAX_PROBLEMS

SHOWN_LENGTH = 40


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to mend. `row` counts as a spreadsheet shows it: the first line is row 1."""

    row: int | None
    column: str | None
    problem: str


class SheetRefused(Exception):
    """The file cannot be read as a table; `problems` says why and what to send instead."""

    def __init__(self, problem: str, *, row: int | None = None, column: str | None = None) -> None:
        super().__init__(problem)
        self.problems: tuple[Problem, ...] = (Problem(row, column, problem),)


class ProblemList:
    """Collects problems, keeps the first 200 and counts the rest."""

    def __init__(self) -> None:
        self._kept: list[Problem] = []
        self._found = 0

    def add(self, row: int | None, column: str | None, problem: str) -> None:
        """Note a problem; beyond the limit only its number is kept, as memory is finite."""
        self._found += 1
        if len(self._kept) < MAX_PROBLEMS:
            self._kept.append(Problem(row, column, problem))

    def __len__(self) -> int:
        return self._found

    def told(self) -> tuple[Problem, ...]:
        """The kept problems in the order of the rows, and a last one that counts the others."""
        ordered = sorted(self._kept, key=lambda problem: problem.row or 0)
        return (*ordered, *self._remainder())

    def _remainder(self) -> tuple[Problem, ...]:
        more = self._found - len(self._kept)
        if not more:
            return ()
        sentence = f"And {more} more. Correct the problems above, then check the file again."
        return (Problem(None, None, sentence),)


def show(text: str) -> str:
    """The text in quotation marks, cut to a length that fits a sentence."""
    return f"“{text}”" if len(text) <= SHOWN_LENGTH else f"“{text[: SHOWN_LENGTH - 1]}…”"

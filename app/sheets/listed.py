"""A list that came as a file, read as far as it can be, and what stands against taking it over."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from app.sheets.problems import Problem, SheetRefused

Row = TypeVar("Row")
Read = Callable[
    [bytes, Mapping[str, str]], tuple[tuple[Row, ...], tuple[str, ...], tuple[Problem, ...]]
]


@dataclass(frozen=True, slots=True)
class Listed(Generic[Row]):
    """What a file says: its rows, the columns left aside, and what is wrong with it."""

    rows: tuple[Row, ...]
    ignored: tuple[str, ...]
    problems: tuple[Problem, ...]

    def with_problems(self, found: Sequence[Problem]) -> Listed[Row]:
        """The same list with what else stands against it, in the order of its rows."""
        return replace(self, problems=tuple(sorted((*self.problems, *found), key=_place)))


def _place(problem: Problem) -> tuple[bool, int]:
    """By row; what belongs to no place counts further problems, and comes last."""
    return problem.row is None and problem.column is None, problem.row or 0


def read_listed(read: Read[Row], content: bytes, columns: Mapping[str, str]) -> Listed[Row]:
    """The rows in a file and every problem in it, by row and column."""
    try:
        return Listed(*read(content, columns))
    except SheetRefused as refused:
        return Listed((), (), refused.problems)

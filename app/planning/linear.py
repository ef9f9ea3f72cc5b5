"""A linear programme with whole numbers, as plain lists: what any solver of them can be given."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import inf


@dataclass(frozen=True, slots=True)
class Sum:
    """A constant and so many times each column."""

    terms: Mapping[int, float]
    constant: float = 0.0

    def of(self, values: list[float]) -> float:
        """What it comes to where the columns have these values."""
        return self.constant + sum(times * values[column] for column, times in self.terms.items())


def sum_of(columns: Iterable[int], times: float = 1.0, constant: float = 0.0) -> Sum:
    """As often each column as it is named, times a number."""
    terms: dict[int, float] = {}
    for column in columns:
        terms[column] = terms.get(column, 0.0) + times
    return Sum(terms, constant)


@dataclass(slots=True)
class Linear:
    """Columns with their bounds, and rows: `at_least <= sum <= at_most`.

    `wide` are the numbers of those rows that are about all of it.
    """

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[tuple[float, float, Mapping[int, float]]] = field(default_factory=list)
    wide: set[int] = field(default_factory=set)

    def column(self, lower: float = 0.0, upper: float = 1.0, *, whole: bool = False) -> int:
        """A new column, and its number."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.lower) - 1

    def choice(self) -> int:
        """A new column that is 0 or 1."""
        return self.column(whole=True)

    def row(
        self, terms: Mapping[int, float], *, at_least: float = -inf, at_most: float = inf
    ) -> None:
        """A bound on a sum of columns."""
        self.rows.append((at_least, at_most, terms))

    def bound(self, what: Sum, *, at_least: float = -inf, at_most: float = inf) -> None:
        """The same for a sum with a constant, and of all columns."""
        self.wide.add(len(self.rows))
        low, high = at_least - what.constant, at_most - what.constant
        self.rows.append((low, high, what.terms))

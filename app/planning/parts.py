"""A part of a linear programme, with all else held as it is: small enough to be solved at once.

Solving the whole with most columns fixed would have the solver look through all of it again for
each window of a day, and a day of three times the heats would take nine times as long.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from app.planning.linear import Linear, Sum


@dataclass(frozen=True, slots=True)
class Part:
    """The columns that are free, by their numbers in the whole, and the rows that they are in."""

    columns: tuple[int, ...]
    linear: Linear

    def of(self, what: Sum) -> Sum:
        """What a sum has of these columns."""
        terms = ((at, what.terms.get(column)) for at, column in enumerate(self.columns))
        return Sum({at: times for at, times in terms if times})

    def put_back(self, found: list[float], values: list[float]) -> list[float]:
        """The values of the whole, with those of the part."""
        whole = list(values)
        for column, value in zip(self.columns, found, strict=True):
            whole[column] = value
        return whole


class Parts:
    """Cuts parts out of one programme. `choices` are columns that are free only where it is said;
    whatever follows from choices is free with them.
    """

    def __init__(self, linear: Linear, choices: Iterable[int]) -> None:
        self._linear = linear
        self._choices = frozenset(choices)
        self._rows_of: list[list[int]] = [[] for _ in linear.lower]
        for row, (_, _, terms) in enumerate(linear.rows):
            for column in () if row in linear.wide else terms:
                self._rows_of[column].append(row)

    def cut(self, free: Iterable[int], values: list[float]) -> Part:
        """The part in which these columns are free, all else held at its value."""
        columns = set(free)
        rows = self._rows_with(columns)
        for row in rows:
            columns.update(self._linear.rows[row][2].keys() - self._choices)
        rows = self._rows_with(columns) | self._linear.wide
        return self._part(tuple(sorted(columns)), rows, values)

    def _rows_with(self, columns: Iterable[int]) -> set[int]:
        return {row for column in columns for row in self._rows_of[column]}

    def _part(self, columns: tuple[int, ...], rows: set[int], values: list[float]) -> Part:
        numbers = {column: at for at, column in enumerate(columns)}
        part = Linear()
        for column in columns:
            low, high = self._linear.lower[column], self._linear.upper[column]
            part.column(low, high, whole=self._linear.whole[column])
        for row in sorted(rows):
            low, high, terms = self._linear.rows[row]
            mine: dict[int, float] = {}
            held = 0.0
            for column, times in terms.items():
                if column in numbers:
                    mine[numbers[column]] = times
                else:
                    held += times * values[column]
            if mine:
                part.row(mine, at_least=low - held, at_most=high - held)
        return Part(columns, part)

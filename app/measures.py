"""How many requests each route answered, how, and how long it took until the answer began.

Counted on the event loop alone, so without locks; the numbers are of this process.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

BOUNDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 5.0)
"""Seconds, the longest of each bucket: a flag takes 2 ms, a sealed form 20, an export seconds."""
METHODS = frozenset({"GET", "HEAD", "PUT", "POST", "PATCH", "DELETE", "OPTIONS"})
"""Whatever else a caller calls a method is counted as one, or there were a line for each word."""


@dataclass(frozen=True, slots=True)
class Measured:
    """The answers of one route, method and class of status."""

    method: str
    template: str
    status: str
    within: tuple[int, ...]
    """How many took as long as each of the bounds at the most; and all."""
    seconds: float


class Measures:
    """Counts of a process since it started."""

    def __init__(self) -> None:
        self._rows: dict[tuple[str, str, int], list[float]] = {}

    def count(self, method: str, template: str, status: int, seconds: float) -> None:
        """One more answer."""
        row = self._rows.get((method, template, status // 100))
        if row is None:
            named = method if method in METHODS else "other"
            fresh = [0.0] * (len(BOUNDS) + 2)
            row = self._rows.setdefault((named, template, status // 100), fresh)
        row[bisect_left(BOUNDS, seconds)] += 1
        row[-1] += seconds

    def measured(self) -> Iterator[Measured]:
        """What was counted, in a stable order."""
        for (method, template, hundreds), row in sorted(self._rows.items()):
            total, within = 0, []
            for number in row[:-1]:
                total += int(number)
                within.append(total)
            yield Measured(method, template, f"{hundreds}xx", tuple(within), row[-1])

"""Where on a chart does each part of a bar stand, and where its number, so that it hides nothing?

A number stands in its part where the part's filling is seen on both sides of it. Else it stands
above the bar behind a sample of the filling: near its part, clear of its neighbours, and never
beyond the chart.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Final

SEEN: Final = 4.0
"""How much of a filling has to be seen on each side of a number, in points or pixels."""
BETWEEN: Final = 5.0


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a bar; `kind` is its place among the kinds, `number_left` where its number begins,
    with the sample before it if it stands above the bar.
    """

    kind: int
    count: int
    left: float
    width: float
    number_left: float
    number_width: float
    is_above: bool


@dataclass(frozen=True, slots=True)
class BarSize:
    """How long the longest bar is and how many it stands for; how wide a number is, what is white
    around one in a bar, and a sample with what is white behind it.
    """

    room: float
    most: int
    wide: Callable[[str], float]
    around: float
    sample: float


def lay_out(counts: Sequence[int], size: BarSize) -> list[Part]:
    """The parts of a bar that count anything, from its left end."""
    unit = size.room / size.most
    begins = accumulate(counts, initial=0)
    parts = [
        _part(kind, count, unit * before, size)
        for kind, (count, before) in enumerate(zip(counts, begins, strict=False))
        if count
    ]
    above = iter(_apart([one for one in parts if one.is_above], size.room))
    return [next(above) if one.is_above else one for one in parts]


def _part(kind: int, count: int, left: float, size: BarSize) -> Part:
    width, wide = size.room / size.most * count, size.wide(str(count))
    is_above = wide + size.around + 2 * SEEN > width
    wide += size.sample if is_above else size.around
    return Part(kind, count, left, width, left + (width - wide) / 2, wide, is_above)


def _apart(parts: Sequence[Part], room: float) -> list[Part]:
    """Numbers moved to the right of those before them, then back from the end of the chart."""
    moved, free = [], 0.0
    for one in parts:
        moved.append(replace(one, number_left=max(one.number_left, free)))
        free = moved[-1].number_left + one.number_width + BETWEEN
    end = room
    for place, one in reversed(list(enumerate(moved))):
        moved[place] = replace(one, number_left=min(one.number_left, end - one.number_width))
        end = moved[place].number_left - BETWEEN
    return moved

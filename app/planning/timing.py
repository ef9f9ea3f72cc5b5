"""What time does to a crew: who can go from one zone to another, and when a break is due.

A stint is a row of spells that somebody serves with no gap in it as long as a break. Everything
here counts spells by their numbers, in the order of time.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from app.planning.facts import MINUTE_S, Settings
from app.planning.spells import Spell


@dataclass(frozen=True, slots=True)
class Stretch:
    """Spells first to last: whoever has all of them off has had a break."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class TooLong:
    """Whoever serves both spells, with no break between them, is past the longest stint."""

    first: int
    last: int


@dataclass(frozen=True)
class Timing:
    """The spells of a programme, held against what a plan keeps to."""

    spells: Sequence[Spell]
    settings: Settings

    def gap_s(self, first: int, then: int) -> int:
        """From the end of a spell until the crew of a later one must be there; may be negative."""
        return self.spells[then].begins_s - self.spells[first].ends_s

    def can_walk(self, first: int, then: int, way_m: float) -> bool:
        """Whether somebody can serve both where the way between them is so long."""
        return not way_m or way_m / self.settings.walk_m_s <= self.gap_s(first, then)

    def is_break(self, first: int, then: int) -> bool:
        """Whether serving these two and nothing between them leaves a break."""
        return then >= self._rested_by[first]

    def is_too_long(self, first: int, last: int) -> bool:
        """Whether a stint that begins with one spell and ends with another is past the longest."""
        return last > self._may_last_to[first]

    @cached_property
    def _rested_by(self) -> Sequence[int]:
        """For each spell the first one before which there is a break. It is asked so often that
        the clock is looked at once for all.
        """
        begins_s = [spell.begins_s for spell in self.spells]
        break_s = self.settings.shortest_break_min * MINUTE_S
        return [
            max(at + 1, bisect_left(begins_s, one.ends_s + break_s))
            for at, one in enumerate(self.spells)
        ]

    @cached_property
    def _may_last_to(self) -> Sequence[int]:
        """For each spell the last one of the longest stint that begins with it."""
        ends_s = [spell.ends_s for spell in self.spells]
        longest_s = self.settings.longest_stint_min * MINUTE_S
        return [bisect_right(ends_s, one.begins_s + longest_s) - 1 for one in self.spells]

    def follow_soon(self) -> Iterator[tuple[int, int]]:
        """Each spell and those after it to which no break leads."""
        for first in range(len(self.spells)):
            for then in range(first + 1, len(self.spells)):
                if self.is_break(first, then):
                    break
                yield first, then

    def near(self, longest_way_m: float) -> Iterator[tuple[int, int]]:
        """Two spells with less time between them than that way takes."""
        longest_s = longest_way_m / self.settings.walk_m_s
        for first in range(len(self.spells)):
            for then in range(first + 1, len(self.spells)):
                if self.gap_s(first, then) >= longest_s:
                    break
                yield first, then

    def stretches(self, first: int, last: int) -> Iterator[Stretch]:
        """The shortest breaks that begin after one spell and end before another."""
        for begin in range(first + 1, last):
            for end in range(begin, last):
                if self.is_break(begin - 1, end + 1):
                    if not self.is_break(begin, end + 1) and not self.is_break(begin - 1, end):
                        yield Stretch(begin, end)
                    break

    def too_long(self) -> Iterator[TooLong]:
        """Each pair of spells that nobody should serve without a break between them.

        For each last spell: the nearest first one from which the stint is too long, and those
        before it as far back as a gap from there to behind that nearest one would be no break. What
        lies further back cannot matter: in a stint that comes from there somebody serves one of
        these, or has had a break.
        """
        for last in range(len(self.spells)):
            nearest = self._nearest_too_long(last)
            for first in range(nearest, -1, -1):
                if self.is_break(first, nearest + 1):
                    break
                yield TooLong(first, last)

    def _nearest_too_long(self, last: int) -> int:
        """The nearest spell from which a stint to this one is too long; -1 where none is before the
        next gap that is a break for everybody.
        """
        for first in range(last - 1, -1, -1):
            if self.is_break(first, first + 1):
                return -1
            if self.is_too_long(first, last):
                return first
        return -1

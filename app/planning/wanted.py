"""How many people are wished for at a zone, heat by heat of its spell.

Whoever has no lane in use in a heat watches nothing there, and is none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass

from app.planning.seats import Seat, Staffing
from app.planning.spells import Spell
from app.rules.relay import Edge


@dataclass(frozen=True, slots=True)
class Wanted:
    """So many people are wished for in some heats, by their places in the spell; `seats` are those
    of the zone that count there.
    """

    people: int
    heats: Sequence[int]
    seats: frozenset[Seat]

    def taken(self, seats: Iterable[Seat]) -> int:
        """How many of these seats count."""
        return sum(seat in self.seats for seat in seats)

    def short(self, seats: Iterable[Seat]) -> int:
        """By how many people a zone with these seats taken falls short, heat by heat."""
        return max(0, self.people - self.taken(seats)) * len(self.heats)

    def can_be(self, staffing: Staffing) -> int:
        """How many of them there can be: a zone's posts are for all heats of the row, and only so
        many have a lane in use in these.
        """
        return min(self.people, staffing.most_of(self.seats))


def wanted_at(
    spell: Spell,
    staffing: Staffing,
    people: Callable[[int], int],
    edges: Collection[Edge] = tuple(Edge),
) -> tuple[Wanted, ...]:
    """By the number of lanes in use, as `people` has it, those at these edges. Heats of which the
    same can be said are one.
    """
    heats: dict[tuple[int, frozenset[Seat]], list[int]] = {}
    for at, heat in enumerate(spell.heats):
        seats = (seat for seat in staffing.seats if not heat.lanes.keys().isdisjoint(seat.lanes))
        counting = frozenset(seat for seat in seats if seat.edge in edges)
        heats.setdefault((people(len(heat.lanes)), counting), []).append(at)
    return tuple(Wanted(people, theirs, seats) for (people, seats), theirs in heats.items())

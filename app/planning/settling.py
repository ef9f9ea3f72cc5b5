"""Whoever stays at a zone keeps their seat there, as far as no wish suffers by it.

Changing seats within a zone is no move, and no wish counts it; but whoever watches other lanes than
in the heat before has to look for them. So once a plan is found, two people of a zone change seats
where one of them then has the seat of the heats before, and every count stays what it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from app.planning.model import Model, Placed
from app.planning.seats import Seat


def settled(model: Model, placed: Placed) -> Placed:
    """The same plan with fewer changes of seats; one that keeps a plan before stays as it is."""
    if model.before is not None:
        return placed
    settling = _Settling(model, dict(placed))
    for first, then in pairwise(range(len(model.spells))):
        settling.settle(first, then)
    return settling.placed


@dataclass(slots=True)
class _Settling:
    model: Model
    placed: dict[tuple[int, int], tuple[int, Seat]]
    pinned: frozenset[tuple[str, str]] = field(init=False)

    def __post_init__(self) -> None:
        self.pinned = frozenset((pin.person, pin.heat) for pin in self.model.task.pins)

    def settle(self, first: int, then: int) -> None:
        """Give those who stay from one spell to the next their seats back."""
        for person in range(len(self.model.task.people)):
            was, now = self.placed.get((person, first)), self.placed.get((person, then))
            if was is None or now is None or was[1] == now[1] or not self._is_one_zone(was, now):
                continue
            other = self._who_has((now[0], was[1]), then)
            if other is not None and self._may_swap(person, other, then):
                self._swap(person, other, then)

    def _is_one_zone(self, was: tuple[int, Seat], now: tuple[int, Seat]) -> bool:
        here, there = self.model.stand(*was), self.model.stand(*now)
        return here.is_within_sight_of(there)

    def _who_has(self, post: tuple[int, Seat], spell: int) -> int | None:
        people = range(len(self.model.task.people))
        return next((one for one in people if self.placed.get((one, spell)) == post), None)

    def _may_swap(self, one: int, other: int, spell: int) -> bool:
        zone, seat = self.placed[one, spell]
        theirs = self.placed[other, spell][1]
        may_sit = {(one, zone, theirs), (other, zone, seat)} <= self.model.taken.keys()
        if not may_sit or self._is_pinned(one, spell) or self._is_pinned(other, spell):
            return False
        if not self._is_alike(one, other, zone, (seat, theirs)):
            return False
        self._swap(one, other, spell)
        in_reach = self._is_in_reach(one, spell) and self._is_in_reach(other, spell)
        self._swap(one, other, spell)
        return in_reach

    def _is_alike(self, one: int, other: int, zone: int, seats: tuple[Seat, Seat]) -> bool:
        """Whether every count stays what it is: lanes of own clubs, and experience at the end, as
        far as both have something to watch in the same heats.
        """
        (seat, theirs), own_at = seats, self.model.own_at
        before = own_at(one, zone, seat) + own_at(other, zone, theirs)
        after = own_at(one, zone, theirs) + own_at(other, zone, seat)
        as_good = self.model.is_experienced(one) == self.model.is_experienced(other)
        wanted = self.model.experienced_ends[zone]
        count_alike = all((seat in each.seats) == (theirs in each.seats) for each in wanted)
        return before == after and (count_alike or as_good)

    def _is_pinned(self, person: int, spell: int) -> bool:
        name = self.model.task.people[person].id
        return any((name, heat.id) in self.pinned for heat in self.model.spells[spell].heats)

    def _is_in_reach(self, person: int, spell: int) -> bool:
        """Whether they can walk here from their spell before, and on to the next."""
        served = sorted(at for who, at in self.placed if who == person)
        at = served.index(spell)
        return all(
            self.model.can_walk(self.placed[person, first], self.placed[person, then])
            for first, then in pairwise(served[max(0, at - 1) : at + 2])
        )

    def _swap(self, one: int, other: int, spell: int) -> None:
        first, second = (one, spell), (other, spell)
        self.placed[first], self.placed[second] = self.placed[second], self.placed[first]

"""A first plan without any search: the smallest crew of each zone, filled in the order of time.

Whoever has stood least goes first, of those who may, can walk there and are due no break. Nothing
of it is best; but every later step has something to make better, however little time there is.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from app.planning.model import Model, Placed
from app.planning.seats import Seat
from app.planning.tally import crews_of


@dataclass(slots=True)
class Filling:
    """Who stands where by now, since when their stint lasts, and how many heats they have stood."""

    model: Model
    placed: dict[tuple[int, int], tuple[int, Seat]] = field(default_factory=dict)
    _last: dict[int, int] = field(default_factory=dict)
    _since: dict[int, int] = field(default_factory=dict)
    _stood: Counter[int] = field(default_factory=Counter)

    def fill(self) -> Placed:
        """All spells, one after the other."""
        for spell in range(len(self.model.spells)):
            for zone in self.model.zones_in(spell):
                seatings = self.model.staffings[zone].seatings
                for seat in min((one.seats for one in seatings), key=len):
                    self._fill(spell, zone, seat)
        return self.placed

    def _fill(self, spell: int, zone: int, seat: Seat) -> None:
        people = sorted(range(len(self.model.task.people)), key=lambda one: self._stood[one])
        for person in people:
            if (person, zone, seat) in self.model.taken and self._can(person, spell, zone, seat):
                self._take(person, spell, zone, seat)
                return

    def _can(self, person: int, spell: int, zone: int, seat: Seat) -> bool:
        if (person, spell) in self.placed:
            return False
        last = self._last.get(person)
        if last is None:
            return True
        can_walk = self.model.can_walk(self.placed[person, last], (zone, seat))
        return can_walk and self._is_rested(person, last, spell)

    def _is_rested(self, person: int, last: int, spell: int) -> bool:
        if self.model.timing.is_break(last, spell):
            return True
        return not self.model.timing.is_too_long(self._since[person], spell)

    def _take(self, person: int, spell: int, zone: int, seat: Seat) -> None:
        last = self._last.get(person)
        if last is None or self.model.timing.is_break(last, spell):
            self._since[person] = spell
        self.placed[person, spell] = zone, seat
        self._last[person] = spell
        self._stood[person] += len(self.model.spells[spell].heats)


def chosen(model: Model, placed: Placed) -> list[float]:
    """A plan as values of the columns that are chosen; 0 for all others."""
    values = [0.0] * len(model.linear.lower)
    for (person, _), (zone, seat) in placed.items():
        values[model.taken[person, zone, seat]] = 1.0
    for zone, crew in enumerate(crews_of(model, placed)):
        fitting = (one for one in model.staffings[zone].seatings if crew.keys() <= {*one.seats})
        people = min(one.people for one in fitting)
        values[model.sized[zone, people]] = 1.0
    return values

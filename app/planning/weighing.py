"""What a plan weighs, person by person and zone by zone, so that a step is judged by its own part.

One thing short of a wish weighs more than all that can fall short of those after it; of the load
the squares are added up, so that it evens out.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from app.planning.model import Model, Post
from app.planning.tally import Crew, Fault, Row, faults_at, faults_of
from app.planning.wishes import Wish, wishes_of

APART = 10**10
"""No plan has so many things short of one wish, nor its loads such squares."""


@dataclass(frozen=True)
class Weighing:
    """The weights of a model's wishes, and what is firm for posts. `first` is a wish that
    is to count before all others.
    """

    model: Model
    first: Wish | None = None

    @cached_property
    def weights(self) -> Mapping[Wish, int]:
        """What one thing short of each wish weighs."""
        order = sorted(wishes_of(self.model), key=lambda wish: wish is not self.first)
        return {wish: APART ** (len(order) - at) for at, wish in enumerate(order, 1)}

    @cached_property
    def held(self) -> frozenset[tuple[int, int]]:
        """Persons and spells of which nothing may be changed: pinned, or run by now."""
        return frozenset(self._held())

    def _held(self) -> Iterator[tuple[int, int]]:
        pinned = {(pin.person, pin.heat) for pin in self.model.task.pins}
        for spell in self.model.spells:
            for at, person in enumerate(self.model.task.people):
                is_pinned = any((person.id, heat.id) in pinned for heat in spell.heats)
                if is_pinned or self.model.has_begun(spell.number):
                    yield at, spell.number

    def of_row(self, person: int, row: Row) -> int:
        """One person with these posts."""
        heats = self.heats_in(row)
        return self._sum(faults_of(self.model, person, row)) + heats * heats

    def heats_in(self, row: Row) -> int:
        """The heats that somebody with these posts stands."""
        return sum(len(self.model.spells[spell].heats) for spell in row)

    def of_crew(self, zone: int, crew: Crew) -> int:
        """One zone with this crew, whoever they are."""
        return self._sum(faults_at(self.model, zone, crew))

    def _sum(self, faults: Iterable[Fault]) -> int:
        return sum(self.weights[one.wish] * one.times for one in faults)

    def can_be(self, person: int, row: Row, spells: Collection[int]) -> bool:
        """Whether nothing firm is against the posts of these spells: hours, bars, and the time to
        walk to them and on.
        """
        if not all((person, *row[spell]) in self.model.taken for spell in spells if spell in row):
            return False
        served = sorted(row)
        first = max(0, bisect_left(served, min(spells)) - 1)
        last = bisect_right(served, max(spells)) + 1
        ways = pairwise(served[first:last])
        return all(self.model.can_walk(row[here], row[there]) for here, there in ways)

    def at_least(self, person: int, load: int, post: Post) -> int:
        """What somebody with so many heats weighs more at the least who has a post more: it spares
        nobody a break, nor a move.
        """
        spell = self.model.spell_of(post[0])
        own = self.model.own_at(person, *post) * self.weights[Wish.OWN_CLUB]
        more = (load + len(spell.heats)) ** 2 - load**2
        return own + more + self._changed(person, spell.number, post)

    def _changed(self, person: int, spell: int, post: Post) -> int:
        before = self.model.before
        if before is None or person in self.model.dropped or spell not in self.model.known:
            return 0
        was = before.get((person, spell))
        heats = len(self.model.spells[spell].heats)
        return ((was != post) - (was is not None)) * heats * self.weights[Wish.UNCHANGED]

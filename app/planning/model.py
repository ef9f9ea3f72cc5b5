"""The linear programme of a crew plan: its choices, by their columns.

Who takes which seat of which zone is `taken`, how many people each zone has by the template
`sized`, and whether a seat is filled while the zone has that many `filled`. What is firm about them
is for `app.planning.building`, what is wished for `app.planning.wishes`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeAlias

from app.planning.begun import Begun
from app.planning.facts import Task
from app.planning.linear import Linear
from app.planning.places import Stand, way_m
from app.planning.seats import Seat, Staffing
from app.planning.spells import Spell, own_heats
from app.planning.timing import Timing
from app.planning.wanted import Wanted, wanted_at
from app.rules.relay import Edge

Post: TypeAlias = tuple[int, Seat]
"""A zone, by its number, and a seat of it."""
Placed: TypeAlias = Mapping[tuple[int, int], Post]
"""From a person and a spell they serve to their post there, all by their numbers."""


@dataclass(frozen=True)
class Model:
    """A task as a linear programme. People count by their place in `task.people`, zones in
    `staffings`. `begun` has what the zones of heats that have begun come to.
    """

    task: Task
    timing: Timing
    staffings: tuple[Staffing, ...]
    before: Placed | None = None
    begun: Mapping[int, Begun] = field(default_factory=dict)
    linear: Linear = field(default_factory=Linear)
    taken: dict[tuple[int, int, Seat], int] = field(default_factory=dict)
    sized: dict[tuple[int, int], int] = field(default_factory=dict)
    filled: dict[tuple[int, int, Seat], int] = field(default_factory=dict)
    at_zone: dict[tuple[int, int], list[int]] = field(default_factory=lambda: defaultdict(list))
    _walked: dict[tuple[Post, Post], bool] = field(default_factory=dict)
    _own: dict[tuple[str, int, Seat], int] = field(default_factory=dict)

    @property
    def spells(self) -> Sequence[Spell]:
        return self.timing.spells

    @cached_property
    def dropped(self) -> frozenset[int]:
        """Whoever drops out of the plan before."""
        before = self.task.before
        return frozenset(
            at
            for at, person in enumerate(self.task.people)
            if before is not None and person.id in before.dropped
        )

    def is_experienced(self, person: int) -> bool:
        """Whether somebody counts where most bodies meet, at the end of a zone."""
        return self.task.people[person].experience >= self.task.settings.experienced

    def has_begun(self, spell: int) -> bool:
        """Whether a spell's heats stay as the plan before has them."""
        return self.task.has_begun(self.spells[spell].heats[0])

    @cached_property
    def stood(self) -> Placed:
        """Who stood where in the spells that have begun."""
        before = self.before or {}
        return {who: post for who, post in before.items() if self.has_begun(who[1])}

    def spell_of(self, zone: int) -> Spell:
        """The spell that a zone is staffed for."""
        return self.spells[self.staffings[zone].zone.spell]

    def zones_in(self, spell: int) -> Sequence[int]:
        """The zones of a spell."""
        return self._zones.get(spell, ())

    @cached_property
    def _zones(self) -> Mapping[int, Sequence[int]]:
        zones: dict[int, list[int]] = {}
        for at, one in enumerate(self.staffings):
            zones.setdefault(one.zone.spell, []).append(at)
        return zones

    @property
    def seat_count(self) -> int:
        """Of all zones; times the people, it is how many choices there are."""
        return sum(len(one.seats) for one in self.staffings)

    def seats(self, zone: int) -> tuple[Seat, ...]:
        """All seats of a zone."""
        return self.staffings[zone].seats

    def stand(self, zone: int, seat: Seat) -> Stand:
        """Where a seat of a zone stands on the track."""
        take_overs = self.staffings[zone].zone.take_overs
        return Stand(self.spell_of(zone).relay, take_overs, seat.edge, seat.lanes, seat.side)

    def can_walk(self, leaves: Post, arrives: Post) -> bool:
        """Whether somebody can serve one post and, in a later spell, the other."""
        known = self._walked.get((leaves, arrives))
        if known is not None:
            return known
        here, there = self.stand(*leaves), self.stand(*arrives)
        spells = self.spell_of(leaves[0]).number, self.spell_of(arrives[0]).number
        can = self.timing.can_walk(*spells, way_m(self.task.track, here, there))
        self._walked[leaves, arrives] = can
        return can

    def own_at(self, person: int, zone: int, seat: Seat) -> int:
        """In how many heats somebody would watch a lane of their own club from a seat, while teams
        have lanes.
        """
        own = self.task.people[person].affiliation
        known = self._own.get((own, zone, seat))
        if known is not None:
            return known
        is_in_lanes = self.staffings[zone].zone.is_in_lanes
        heats = own_heats(self.spell_of(zone), seat.lanes, own) if is_in_lanes else 0
        self._own[own, zone, seat] = heats
        return heats

    @cached_property
    def known(self) -> frozenset[int]:
        """The spells whose heats the plan before knows: in others nothing is a change."""
        return frozenset(spell for _, spell in self.before or ())

    @cached_property
    def full_crews(self) -> Sequence[Sequence[Wanted]]:
        """By zone: how many people are wished for in which heats."""
        return [
            wanted_at(self.spell_of(zone), one, self.task.template.full_crew)
            for zone, one in enumerate(self.staffings)
        ]

    @cached_property
    def experienced_ends(self) -> Sequence[Sequence[Wanted]]:
        """By zone: how many end posts are wished to be held by experienced people in which heats.
        None where nobody is experienced.
        """
        if not self.task.has_experienced:
            return [() for _ in self.staffings]
        return [
            wanted_at(self.spell_of(zone), one, self.task.template.experienced_ends, (Edge.END,))
            for zone, one in enumerate(self.staffings)
        ]

    def serves(self, person: int, spell: int) -> list[int]:
        """The columns of which one is 1 where somebody serves a spell."""
        return [c for zone in self.zones_in(spell) for c in self.at_zone.get((person, zone), ())]

    def present(self, person: int, zone: int) -> list[int]:
        """The columns of which one is 1 where somebody stands at a zone."""
        return self.at_zone.get((person, zone), [])

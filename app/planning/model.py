"""The linear programme of a crew plan: its choices, by their columns.

Who takes which seat of which zone is `taken`, how many people each zone has by the template
`sized`, and whether a seat is filled while the zone has that many `filled`. What is firm about them
is for `app.planning.building`, what is wished for `app.planning.wishes`.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from app.planning.facts import Task
from app.planning.linear import Linear
from app.planning.places import Stand
from app.planning.seats import Seat, Staffing
from app.planning.spells import Spell
from app.planning.timing import Timing

Placed: TypeAlias = Mapping[tuple[int, int], tuple[int, Seat]]
"""From a person and a spell they serve to the zone and the seat, all by their numbers."""


@dataclass(frozen=True, slots=True)
class Model:
    """A task as a linear programme. People count by their place in `task.people`, zones in
    `staffings`.
    """

    task: Task
    timing: Timing
    staffings: tuple[Staffing, ...]
    before: Placed | None = None
    linear: Linear = field(default_factory=Linear)
    taken: dict[tuple[int, int, Seat], int] = field(default_factory=dict)
    sized: dict[tuple[int, int], int] = field(default_factory=dict)
    filled: dict[tuple[int, int, Seat], int] = field(default_factory=dict)
    at_zone: dict[tuple[int, int], list[int]] = field(default_factory=lambda: defaultdict(list))

    @property
    def spells(self) -> Sequence[Spell]:
        return self.timing.spells

    @property
    def dropped(self) -> frozenset[int]:
        """Whoever drops out of the plan before."""
        before = self.task.before
        return frozenset(
            at
            for at, person in enumerate(self.task.people)
            if before is not None and person.id in before.dropped
        )

    def has_begun(self, spell: int) -> bool:
        """Whether a spell's heats stay as the plan before has them."""
        before = self.task.before
        return before is not None and self.spells[spell].heats[0].starts_s < before.from_s

    def spell_of(self, zone: int) -> Spell:
        """The spell that a zone is staffed for."""
        return self.spells[self.staffings[zone].zone.spell]

    def zones_in(self, spell: int) -> Iterator[int]:
        """The zones of a spell."""
        return (at for at, one in enumerate(self.staffings) if one.zone.spell == spell)

    def seats(self, zone: int) -> tuple[Seat, ...]:
        """All seats of a zone."""
        return self.staffings[zone].seats

    def stand(self, zone: int, seat: Seat) -> Stand:
        """Where a seat of a zone stands on the track."""
        take_overs = self.staffings[zone].zone.take_overs
        return Stand(self.spell_of(zone).relay, take_overs, seat.edge, seat.lanes, seat.side)

    def known(self) -> frozenset[int]:
        """The spells whose heats the plan before knows: in others nothing is a change."""
        return frozenset(spell for _, spell in self.before or ())

    def heats_by(self, zone: int, wanted: Callable[[int], int]) -> Counter[int]:
        """For how many heats of a zone so many people are wanted, by the lanes in use."""
        return Counter(wanted(len(heat.lanes)) for heat in self.spell_of(zone).heats)

    def serves(self, person: int, spell: int) -> list[int]:
        """The columns of which one is 1 where somebody serves a spell."""
        return [c for zone in self.zones_in(spell) for c in self.at_zone.get((person, zone), ())]

    def present(self, person: int, zone: int) -> list[int]:
        """The columns of which one is 1 where somebody stands at a zone."""
        return self.at_zone.get((person, zone), [])

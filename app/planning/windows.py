"""A few spells of a day, to be planned with all others as they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.planning.linear import Sum
from app.planning.model import Model
from app.planning.parts import Part, Parts
from app.planning.tally import loads, placed_by
from app.planning.wishes import Wish

GUIDING: Mapping[Wish, float] = {
    Wish.WATCHED: 2000,
    Wish.UNCHANGED: 250,
    Wish.BREAKS: 600,
    Wish.OWN_CLUB: 80,
    Wish.EXPERIENCE: 6,
    Wish.FULL_CREWS: 2,
    Wish.FEW_MOVES: 2,
}
"""Mild weights: within a window they hold the order of the wishes nearly always."""


@dataclass(slots=True)
class Windows:
    """All wishes at once over any of a day's spells, with less for whoever has stood much."""

    model: Model
    sums: Mapping[Wish, Sum]
    parts: Parts = field(init=False)
    _guide: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.parts = Parts(self.model.linear, self.model.taken.values())
        for wish, weight in GUIDING.items():
            for column, times in (self.sums[wish].terms if wish in self.sums else {}).items():
                self._guide[column] = self._guide.get(column, 0.0) + weight * times

    def cut(self, spells: range, values: list[float]) -> Part:
        """The part in which the posts of these spells are free."""
        model = self.model
        zones = {at for at, one in enumerate(model.staffings) if one.zone.spell in spells}
        taken = (column for (_, zone, _), column in model.taken.items() if zone in zones)
        sized = (column for (zone, _), column in model.sized.items() if zone in zones)
        return self.parts.cut([*taken, *sized], values)

    def guide(self, part: Part, values: list[float]) -> Sum:
        """What is to be made small in a part."""
        stood = loads(self.model, placed_by(self.model, values))
        most = max(stood.values(), default=0) or 1
        load = {column: stood[person] / most for (person, _, _), column in self.model.taken.items()}
        terms = {
            at: self._guide.get(column, 0.0) + load.get(column, 0.0)
            for at, column in enumerate(part.columns)
        }
        return Sum(terms)

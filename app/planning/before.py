"""Where everybody stands by the plan before, in the numbers of a new model."""

from __future__ import annotations

from collections.abc import Sequence

from app.planning.facts import Assignment, Before, Task
from app.planning.model import Placed
from app.planning.seats import Seat, Staffing
from app.planning.spells import Spell


def placed_before(
    task: Task, spells: Sequence[Spell], staffings: Sequence[Staffing], before: Before
) -> Placed:
    """Raises ValueError where the plan before has other people, heats or posts than the task."""
    numbers = {person.id: at for at, person in enumerate(task.people)}
    spell_of = {heat.id: spell for spell in spells for heat in spell.heats}
    if strangers := before.dropped - numbers.keys():
        raise ValueError(f"{min(strangers)} is not of this crew, and cannot drop out.")
    placed: dict[tuple[int, int], tuple[int, Seat]] = {}
    for one in before.assignments:
        if one.person not in numbers:
            raise ValueError(f"The plan before has {one.person}, whom the list of people has not.")
        for heat in one.heats:
            if heat not in spell_of:
                raise ValueError(f"The plan before has the heat {heat}, which the programme lacks.")
            spell = spell_of[heat]
            post = _post(one, spell, staffings)
            if placed.setdefault((numbers[one.person], spell.number), post) != post:
                raise ValueError(f"The plan before changes posts within a spell, at heat {heat}.")
    return placed


def _post(one: Assignment, spell: Spell, staffings: Sequence[Staffing]) -> tuple[int, Seat]:
    seat = Seat(one.edge, one.side, one.lanes)
    for at, staffed in enumerate(staffings):
        zone = staffed.zone
        is_there = zone.spell == spell.number and zone.take_overs == one.take_overs
        if is_there and seat in staffed.seats():
            return at, seat
    raise ValueError(
        f"The plan before has a post of {one.person} that the programme and the template do not "
        f"make: take-over {one.take_overs[0]}, {one.edge}, lanes {min(one.lanes)} to "
        f"{max(one.lanes)}."
    )

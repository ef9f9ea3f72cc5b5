"""Where everybody stands by the plan before, in the numbers of a new model.

It is matched by heats: one that it does not know has nothing to be kept, and one that is run no
more is left aside. Where its posts are not those that the lanes now in use would have, they can be
kept as they were as long as the template allows them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from app.planning.facts import Assignment, Task
from app.planning.model import Placed
from app.planning.seats import Seat, Seating, Staffing, by_template, is_of
from app.planning.spells import Spell, Zone

KEPT = 0
"""The number under which the seating of the plan before is kept; no template has one for it."""
NOWHERE = -1
"""The zone of a post that is no more."""
Kept: TypeAlias = Mapping[tuple[int, int], tuple[tuple[int, ...], Seat]]
"""From a person and a spell to the take-overs and the seat that they had."""


def kept_posts(task: Task, spells: Sequence[Spell]) -> Kept | None:
    """Who stood where, spell by spell; None without a plan before. Raises ValueError where it has
    people whom the task has not, or somebody at two posts at once.
    """
    if task.before is None:
        return None
    numbers = {person.id: at for at, person in enumerate(task.people)}
    if strangers := task.before.dropped - numbers.keys():
        raise ValueError(f"{min(strangers)} is not of this crew, and cannot drop out.")
    spell_of = {heat.id: spell.number for spell in spells for heat in spell.heats}
    kept: dict[tuple[int, int], tuple[tuple[int, ...], Seat]] = {}
    for one in task.before.assignments:
        if one.person not in numbers:
            raise ValueError(
                f"The plan before has {one.person}, whom the list of people has not. Put them back "
                "into it, and let them drop out."
            )
        post = one.take_overs, Seat(one.edge, one.side, one.lanes)
        for heat in one.heats:
            spell = spell_of.get(heat)
            if spell is None:
                continue
            at = numbers[one.person], spell
            had = kept.get(at, post)
            if had[0] != post[0] or had[1].edge is not post[1].edge:
                raise ValueError(_twice(task, one, heat))
            kept[at] = one.take_overs, _joined(task, had[1], post[1])
    return kept


def staffed(task: Task, spells: Sequence[Spell], zone: Zone, kept: Kept | None) -> Staffing:
    """How a zone can be staffed: by the template, or as it was."""
    spell = spells[zone.spell]
    seatings = by_template(spell, task.template)
    seats = {
        seat
        for (_, number), (take_overs, seat) in (kept or {}).items()
        if (number, take_overs) == (zone.spell, zone.take_overs)
    }
    has_begun = task.before is not None and spell.heats[0].starts_s < task.before.from_s
    is_known = any(seats <= set(one.seats) for one in seatings)
    if not is_known and (has_begun or is_of(task.template, seats)):
        seatings = (*seatings, Seating(KEPT, tuple(sorted(seats))))
    return Staffing(zone, seatings)


def placed_before(kept: Kept, staffings: Sequence[Staffing]) -> Placed:
    """The same in zones; `NOWHERE` for a post that is no more."""
    zones = {(one.zone.spell, one.zone.take_overs): at for at, one in enumerate(staffings)}
    placed = {}
    for (person, spell), (take_overs, seat) in kept.items():
        zone = zones.get((spell, take_overs), NOWHERE)
        is_there = zone != NOWHERE and seat in staffings[zone].seats
        placed[person, spell] = (zone if is_there else NOWHERE, seat)
    return placed


def _joined(task: Task, one: Seat, other: Seat) -> Seat:
    """Two posts of one edge of a zone that somebody has are one with the lanes of both, on the side
    on which the template has such a post, if on any.
    """
    lanes = tuple(sorted({*one.lanes, *other.lanes}))
    seats = [Seat(one.edge, each.side, lanes) for each in (one, other)]
    return next((seat for seat in seats if is_of(task.template, [seat])), seats[0])


def _twice(task: Task, one: Assignment, heat: str) -> str:
    name = next(person.name for person in task.people if person.id == one.person)
    label = next(each.label for each in task.heats if each.id == heat)
    return (
        f"The plan before has {name} at two posts in {label}, and nobody is planned for two: give "
        "them one of these, or plan anew."
    )

"""Where everybody stands by the plan before, in the numbers of a new model.

It is matched by heats: one that it does not know has nothing to be kept, and one that is run no
more is left aside. A post is where its take-overs lie: whoever has one of several at a place stands
at that place. Where its posts are not those that the lanes now in use would have, they can be kept
as they were as long as the template allows them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence

from app.planning.facts import Assignment, Task
from app.planning.model import Placed
from app.planning.seats import Seat, Seating, Staffing, by_template, is_of
from app.planning.spells import Spell, Zone

KEPT = 0
"""The number under which the seating of the plan before is kept; no template has one for it."""
NOWHERE = -1
"""The zone of a post that is no more."""


def kept_posts(task: Task, spells: Sequence[Spell], zones: Sequence[Zone]) -> Placed | None:
    """Who stood where, spell by spell; None without a plan before. Raises ValueError where it has
    people whom the task has not, or in what is still to be run somebody at two posts at once. Of
    two posts in what has begun, one tells where they were.
    """
    if task.before is None:
        return None
    numbers = {person.id: at for at, person in enumerate(task.people)}
    if strangers := task.before.dropped - numbers.keys():
        raise ValueError(f"{min(strangers)} is not of this crew, and cannot drop out.")
    heats = {heat.id: (heat, spell.number) for spell in spells for heat in spell.heats}
    zone_of = {(one.spell, of): at for at, one in enumerate(zones) for of in one.take_overs}
    kept: dict[tuple[int, int], tuple[int, Seat]] = {}
    for one in task.before.assignments:
        if one.person not in numbers:
            raise ValueError(
                f"The plan before has {one.person}, whom the list of people has not. Put them back "
                "into it, and let them drop out."
            )
        seat = Seat(one.edge, one.side, one.lanes)
        for heat, spell in (heats[each] for each in one.heats if each in heats):
            who = numbers[one.person], spell
            for zone in sorted({zone_of[spell, of] for of in one.take_overs}):
                at, had = kept.setdefault(who, (zone, seat))
                if (at, had.edge) == (zone, seat.edge):
                    kept[who] = zone, _joined(task, had, seat)
                elif not task.has_begun(heat) and one.person not in task.before.dropped:
                    raise ValueError(_twice(task, one, heat.label))
    return kept


def seats_kept(kept: Placed) -> Mapping[int, frozenset[Seat]]:
    """The seats that each zone had."""
    seats: dict[int, set[Seat]] = defaultdict(set)
    for zone, seat in kept.values():
        seats[zone].add(seat)
    return {zone: frozenset(theirs) for zone, theirs in seats.items()}


def staffed(task: Task, spell: Spell, zone: Zone, seats: Collection[Seat]) -> Staffing:
    """How a zone can be staffed: by the template, or with the seats that it had; one of a heat that
    has begun with those alone.
    """
    as_it_was = Seating(KEPT, tuple(sorted(seats)))
    if task.has_begun(spell.heats[0]):
        return Staffing(zone, (as_it_was,))
    seatings = by_template(spell, task.template)
    is_known = any({*seats} <= {*one.seats} for one in seatings)
    if not is_known and is_of(task.template, seats):
        seatings = (*seatings, as_it_was)
    return Staffing(zone, seatings)


def placed_before(kept: Placed, staffings: Sequence[Staffing]) -> Placed:
    """The same with `NOWHERE` for a post that is no more."""
    return {
        who: (zone if seat in staffings[zone].seats else NOWHERE, seat)
        for who, (zone, seat) in kept.items()
    }


def _joined(task: Task, one: Seat, other: Seat) -> Seat:
    """Two posts of one edge of a zone that somebody has are one with the lanes of both, on the side
    on which the template has such a post, if on any.
    """
    lanes = tuple(sorted({*one.lanes, *other.lanes}))
    seats = [Seat(one.edge, each.side, lanes) for each in (one, other)]
    return next((seat for seat in seats if is_of(task.template, [seat])), seats[0])


def _twice(task: Task, one: Assignment, label: str) -> str:
    name = next(person.name for person in task.people if person.id == one.person)
    return (
        f"The plan before has {name} at two posts in {label}, and nobody is planned for two: give "
        "them one of these, or plan anew."
    )

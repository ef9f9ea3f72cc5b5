"""What is firm in a crew plan, as rows of its linear programme.

Nobody in two places, hours, barred positions, time to walk, a post's most lanes, what is pinned,
and the heats that have been run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TypeAlias

from app.planning.before import kept_posts, placed_before, seats_kept, staffed
from app.planning.begun import begun_zones
from app.planning.cuts import cuts_of
from app.planning.facts import Person, Task
from app.planning.model import Model
from app.planning.pinning import pin
from app.planning.places import longest_way_m, way_m
from app.planning.seats import Seat, Staffing
from app.planning.spells import Spell, cut_into_spells, zones_of
from app.planning.timing import Timing

MOST_CHOICES = 3_000_000
"""People by the posts that they could have: a third of a gigabyte a million, without a solver."""


def build(task: Task, *, is_pinned: bool = True) -> Model:
    """Everything that is firm. Raises ValueError for two heats at once, for a plan before that is
    of other people, for a pin that something firm forbids, and for what is too much.
    """
    spells = cut_into_spells(task.heats, task.settings, task.template, cuts_of(task))
    zones = [zone for spell in spells for zone in zones_of(spell, task.track)]
    kept = kept_posts(task, spells, zones)
    seats = seats_kept(kept or {})
    staffings = tuple(
        staffed(task, spells[zone.spell], zone, seats.get(at, frozenset()))
        for at, zone in enumerate(zones)
    )
    before = None if kept is None else placed_before(kept, staffings)
    begun = begun_zones(task, spells, zones)
    model = Model(task, Timing(spells, task.settings), staffings, before, begun)
    if len(task.people) * model.seat_count > MOST_CHOICES:
        raise ValueError(too_much(task))
    _stood(model)
    for zone in range(len(staffings)):
        if zone not in begun:
            _size(model, zone)
            _seat(model, zone)
    _one_place_each(model)
    _time_to_walk(model)
    if is_pinned:
        pin(model)
    return model


def too_much(task: Task) -> str:
    """Why a task is not planned that the memory may not hold."""
    return (
        f"{len(task.people)} people and {len(task.heats)} heats are too much for one plan. Plan "
        "fewer heats at a time, or leave out whoever is not there."
    )


def may_sit(person: Person, spell: Spell, one: Staffing, seat: Seat) -> bool:
    """Whether hours and barred positions leave this seat to a person."""
    is_open = person.may_take(one.zone.take_overs, seat.edge, seat.side)
    return is_open and person.is_there(spell.begins_s, spell.ends_s)


def _size(model: Model, zone: int) -> None:
    """One number of people for each zone."""
    sizes = [one.people for one in model.staffings[zone].seatings]
    columns = {people: model.linear.choice() for people in sizes}
    model.linear.row(dict.fromkeys(columns.values(), 1.0), at_least=1, at_most=1)
    model.sized.update({(zone, people): column for people, column in columns.items()})


def _seat(model: Model, zone: int) -> None:
    one, spell = model.staffings[zone], model.spell_of(zone)
    for seat in model.seats(zone):
        sitting = _sitters(model, zone, seat, spell)
        whoever: dict[int, float] = dict.fromkeys(sitting, 1.0)
        for seating in one.seatings:
            if seat in seating.seats:
                filled = model.linear.column()
                model.filled[zone, seating.people, seat] = filled
                sized = model.sized[zone, seating.people]
                model.linear.row({filled: 1.0, sized: -1.0}, at_most=0)
                whoever[filled] = -1.0
        model.linear.row(whoever, at_least=0, at_most=0)


def _sitters(model: Model, zone: int, seat: Seat, spell: Spell) -> list[int]:
    columns = []
    for at, person in enumerate(model.task.people):
        if at not in model.dropped and may_sit(person, spell, model.staffings[zone], seat):
            columns.append(_column(model, at, zone, seat))
    return columns


def _stood(model: Model) -> None:
    """Whoever stood in a spell that has begun stands there in every plan: a column that is 1, and
    no row of its own, since nobody can still break what is firm there.
    """
    for (person, _), (zone, seat) in model.stood.items():
        _column(model, person, zone, seat, lower=1.0)


def _column(model: Model, person: int, zone: int, seat: Seat, lower: float = 0.0) -> int:
    column = model.linear.column(lower=lower, whole=True)
    model.taken[person, zone, seat] = column
    model.at_zone[person, zone].append(column)
    return column


def _one_place_each(model: Model) -> None:
    for person in range(len(model.task.people)):
        for spell in range(len(model.spells)):
            serves = model.serves(person, spell)
            if len(serves) > 1:
                model.linear.row(dict.fromkeys(serves, 1.0), at_most=1)


def _time_to_walk(model: Model) -> None:
    """Whoever is here cannot be, so soon after, where the way is too long; and the other way. Of
    heats that have been run both, nobody asks any more how that was possible.
    """
    for first, then in model.timing.near(longest_way_m(model.task.track)):
        if model.has_begun(then):
            continue
        for here, far in _out_of_reach(model, first, then):
            for person in range(len(model.task.people)):
                near = _columns(model, person, here)
                columns = _columns(model, person, far)
                if columns and near:
                    model.linear.row(dict.fromkeys([*near, *columns], 1.0), at_most=1)


Posts: TypeAlias = Collection[tuple[int, Seat]]


def _out_of_reach(model: Model, first: int, then: int) -> Iterator[tuple[Posts, Posts]]:
    """Posts of one spell, and those of a later one that nobody reaches from them in time."""
    posts = [(zone, seat) for zone in model.zones_in(then) for seat in model.seats(zone)]
    alike: dict[Posts, list[tuple[int, Seat]]] = {}
    for zone in model.zones_in(first):
        for seat in model.seats(zone):
            here = model.stand(zone, seat)
            far = [
                post
                for post in posts
                if not model.timing.can_walk(
                    first, then, way_m(model.task.track, here, model.stand(*post))
                )
            ]
            alike.setdefault(tuple(far), []).append((zone, seat))
    for too_far, together in alike.items():
        yield together, too_far


def _columns(model: Model, person: int, posts: Posts) -> list[int]:
    found = (model.taken.get((person, zone, seat)) for zone, seat in posts)
    return [column for column in found if column is not None]

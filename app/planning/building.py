"""What is firm in a crew plan, as rows of its linear programme.

Nobody in two places, hours, barred positions, time to walk, a post's most lanes, what is pinned,
and the heats that have been run.
"""

from __future__ import annotations

from app.planning.before import placed_before
from app.planning.facts import Person, Task
from app.planning.model import Model
from app.planning.pinning import pin
from app.planning.seats import Seat, Staffing, staffing
from app.planning.spells import Spell, cut_into_spells, zones_of
from app.planning.timing import Timing

HALF_A_LAP_M = 200


def build(task: Task) -> Model:
    """Everything that is firm. Raises ValueError for two heats at once, for a plan before that is
    of another programme or template, and for a pin that something firm forbids.
    """
    spells = cut_into_spells(task.heats, task.settings, _cuts(task))
    staffings = tuple(
        staffing(spell, zone, task.template) for spell in spells for zone in zones_of(spell)
    )
    before = placed_before(task, spells, staffings, task.before) if task.before else None
    model = Model(task, Timing(spells, task.settings), staffings, before)
    for zone in range(len(staffings)):
        _size(model, zone)
        _seat(model, zone)
    _one_place_each(model)
    _time_to_walk(model)
    pin(model)
    return model


def _cuts(task: Task) -> frozenset[int]:
    """When a plan may be changed, and when those before it were: posts change there, if at all."""
    if task.before is None:
        return frozenset()
    starts = {heat.id: heat.starts_s for heat in task.heats}
    first = {starts.get(one.heats[0], 0) for one in task.before.assignments}
    return frozenset({task.before.from_s, *first})


def may_sit(person: Person, spell: Spell, one: Staffing, seat: Seat) -> bool:
    """Whether hours and barred positions leave this seat to a person."""
    barred = any(bar.holds(one.zone.take_overs, seat.edge, seat.side) for bar in person.barred)
    return not barred and person.is_there(spell.begins_s, spell.ends_s)


def _size(model: Model, zone: int) -> None:
    """One number of people for each zone that the template can staff at all."""
    sizes = [one.people for one in model.staffings[zone].seatings]
    columns = {people: model.linear.choice() for people in sizes}
    if columns:
        model.linear.row(dict.fromkeys(columns.values(), 1.0), at_least=1, at_most=1)
    model.sized.update({(zone, people): column for people, column in columns.items()})


def _seat(model: Model, zone: int) -> None:
    one, spell = model.staffings[zone], model.spell_of(zone)
    for seat in one.seats():
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
        stood = _stood(model, at, zone, seat)
        if may_sit(person, spell, model.staffings[zone], seat) if stood is None else stood:
            column = model.linear.column(lower=1.0 if stood else 0.0, whole=True)
            model.taken[at, zone, seat] = column
            model.at_zone[at, zone].append(column)
            columns.append(column)
    return columns


def _stood(model: Model, person: int, zone: int, seat: Seat) -> bool | None:
    """Whether somebody has stood there; None where that is still open."""
    spell = model.staffings[zone].zone.spell
    if model.has_begun(spell):
        return model.before is not None and model.before.get((person, spell)) == (zone, seat)
    return False if person in model.dropped else None


def _one_place_each(model: Model) -> None:
    for person in range(len(model.task.people)):
        for spell in range(len(model.spells)):
            serves = model.serves(person, spell)
            if len(serves) > 1:
                model.linear.row(dict.fromkeys(serves, 1.0), at_most=1)


def _time_to_walk(model: Model) -> None:
    """Whoever is here cannot be, so soon after, where the way is too long; and the other way."""
    for first, then in model.timing.near(HALF_A_LAP_M):
        for here in model.zones_in(first):
            out_of_reach = [at for at in model.zones_in(then) if not _in_reach(model, here, at)]
            for person in range(len(model.task.people)):
                far = [c for there in out_of_reach for c in model.present(person, there)]
                near = model.present(person, here)
                if far and near:
                    model.linear.row(dict.fromkeys([*near, *far], 1.0), at_most=1)


def _in_reach(model: Model, here: int, there: int) -> bool:
    one, other = model.staffings[here].zone, model.staffings[there].zone
    return model.timing.can_walk(one.spell, one.place_m, other.spell, other.place_m)

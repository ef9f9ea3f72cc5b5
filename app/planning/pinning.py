"""What a person has chosen by hand, made firm; and which choices cannot all hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from time import perf_counter

from app.planning.effort import Effort, NoPlan
from app.planning.facts import Pin, Task
from app.planning.linear import Sum, sum_of
from app.planning.model import Model
from app.planning.solver import Solver

EACH_S = 2.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """A pin, the columns that it is about, and whether one of them is to be 1 or none."""

    pin: Pin
    person: int
    spell: int
    columns: tuple[int, ...]


def pin(model: Model) -> None:
    """Each pin as a row. Raises ValueError where something else leaves no such post."""
    for one in chosen_by(model):
        terms = dict.fromkeys(one.columns, 1.0)
        if one.pin.take_over is None:
            model.linear.row(terms, at_most=0)
        else:
            model.linear.row(terms, at_least=1)


def chosen_by(model: Model) -> list[Chosen]:
    """The pins of what is still to be run: what has been run is firmer than any."""
    people = {person.id: at for at, person in enumerate(model.task.people)}
    spell_of = {heat.id: spell.number for spell in model.spells for heat in spell.heats}
    found = []
    for one in model.task.pins:
        if one.person not in people or one.heat not in spell_of:
            raise ValueError(f"A pin names {one.person} and {one.heat}; one of them is not there.")
        person, spell = people[one.person], spell_of[one.heat]
        if not model.has_begun(spell):
            found.append(Chosen(one, person, spell, _columns(model, one, person, spell)))
    return found


def _columns(model: Model, one: Pin, person: int, spell: int) -> tuple[int, ...]:
    if one.take_over is None:
        return tuple(model.serves(person, spell))
    found = tuple(
        column
        for zone in model.zones_in(spell)
        for seat in model.seats(zone)
        if one.take_over in model.staffings[zone].zone.take_overs
        and one.edge in {None, seat.edge}
        and one.lanes <= frozenset(seat.lanes)
        and (column := model.taken.get((person, zone, seat))) is not None
    )
    if not found:
        raise ValueError(f"{in_words(model.task, one)} cannot be: {_why(model, person, spell)}.")
    return found


def _why(model: Model, person: int, spell: int) -> str:
    """What leaves no such post, as far as one thing does."""
    who, times = model.task.people[person], model.spells[spell]
    if person in model.dropped:
        return "they have dropped out"
    if not who.is_there(times.begins_s, times.ends_s):
        return "their hours do not reach from when the crew must be there until the zones are free"
    if who.barred:
        return "they may not take such a position, or the template has no such post"
    return "the template has no such post"


def contradiction(model: Model, effort: Effort) -> tuple[Pin, ...]:
    """Pins that cannot all hold, while they could without any one of them; `model` is without pins.
    None where the time ends, or somebody ends it, before they are known. Raises NoPlan where there
    is no plan without any of them, either.

    Each pin may be left at a price, and pins are set aside as long as the rest still has one.
    """
    ends_s = perf_counter() + effort.limit_s
    chosen = chosen_by(model)
    left: dict[Pin, int] = {}
    for one in chosen:
        column = left.setdefault(one.pin, model.linear.column())
        terms = dict.fromkeys(one.columns, 1.0)
        if one.pin.take_over is None:
            model.linear.row({**terms, column: -1.0}, at_most=0)
        else:
            model.linear.row({**terms, column: 1.0}, at_least=1)
    solver = Solver(model.linear, effort.seed, lambda _bound: effort.should_stop())
    if solver.minimise(Sum({}), EACH_S, slack=inf).is_impossible:
        raise NoPlan(is_proven=True)
    kept = list(left)
    size = max(1, len(kept) // 2)
    while True:
        for first in range(0, len(kept), size):
            if effort.should_stop() or perf_counter() > ends_s:
                return ()
            rest = [one for one in kept if one not in kept[first : first + size]]
            if _contradict(solver, left, rest):
                kept = rest
                break
        else:
            if size == 1:
                return tuple(kept)
            size = max(1, size // 2)


def _contradict(solver: Solver, left: Mapping[Pin, int], pins: Sequence[Pin]) -> bool:
    return solver.minimise(sum_of(left[one] for one in pins), EACH_S).bound > 0


def told(task: Task, pins: Sequence[Pin]) -> str:
    """Which pins cannot all hold, and why not."""
    named = "; ".join(in_words(task, one) for one in pins)
    if len(pins) == 1:
        return f"This pin cannot hold with the heats that have been run: {named}. Take it back."
    return f"These pins cannot all hold: {named}. {_between(pins)} Take one of them back."


def _between(pins: Sequence[Pin]) -> str:
    if len({(one.person, one.heat) for one in pins}) == 1:
        return "Nobody can do both."
    if len({one.person for one in pins}) == 1:
        return "There is no time to walk from one to the other."
    return "The template has no posts for all of them."


def in_words(task: Task, one: Pin) -> str:
    """A pin as people say it."""
    name = next(person.name for person in task.people if person.id == one.person)
    heat = next(heat.label for heat in task.heats if heat.id == one.heat)
    if one.take_over is None:
        return f"{name} off in {heat}"
    where = f"take-over {one.take_over}{f' {one.edge}' if one.edge else ''}"
    lanes = f", lanes {', '.join(map(str, sorted(one.lanes)))}" if one.lanes else ""
    return f"{name} at {where}{lanes} in {heat}"

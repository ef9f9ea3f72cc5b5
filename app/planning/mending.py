"""How few people more would have everything watched, when and where.

Found by the same model: people are added who could do anything all day, everything is to be
watched, and as few of them as possible are used; then in as few spells as possible.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from app.planning.building import build
from app.planning.effort import Effort
from app.planning.facts import Person, Task
from app.planning.linear import sum_of
from app.planning.making import assignments
from app.planning.model import Model
from app.planning.results import Missing
from app.planning.solver import Solver
from app.planning.tally import faults, placed_by
from app.planning.wishes import Wish, measure

MORE = "one more"


def people_more(task: Task, effort: Effort) -> Missing:
    """The fewest people more; `task` is one of which something stays unwatched."""
    added = tuple(Person(f"{MORE} ({number + 1})", MORE) for number in range(_enough(build(task))))
    model = build(replace(task, people=(*task.people, *added)))
    used = _used(model, len(task.people))
    linear = model.linear
    linear.bound(measure(model)[Wish.WATCHED], at_most=_left_by_then(model))
    solver = Solver(linear, effort.seed, lambda _bound: effort.should_stop())
    fewest = solver.minimise(sum_of(used), effort.limit_s / 2)
    if fewest.values is None:
        return Missing(None, is_proven=fewest.is_impossible)
    people = round(sum(fewest.values[column] for column in used))
    linear.row(dict.fromkeys(used, 1.0), at_most=people)
    theirs = sum_of(
        column for (person, _, _), column in model.taken.items() if person >= len(task.people)
    )
    shortest = solver.minimise(theirs, effort.limit_s / 2, start=fewest.values)
    placed = placed_by(model, shortest.values or fewest.values)
    posts = {at: post for at, post in placed.items() if at[0] >= len(task.people)}
    return Missing(people, tuple(assignments(model, posts)), fewest.bound >= people)


def _enough(model: Model) -> int:
    """A largest crew at each place that take-overs lie at: nobody of it ever has to walk, whoever
    is pinned beside them.
    """
    largest = max((one.most_seats() for one in model.staffings), default=0)
    return len({one.zone.place_m for one in model.staffings}) * largest


def _left_by_then(model: Model) -> int:
    """What nobody watched in the heats that have been run: nobody who comes now mends that."""
    stood = {at: post for at, post in (model.before or {}).items() if model.has_begun(at[1])}
    return sum(
        fault.times
        for fault in faults(model, stood)
        if fault.wish is Wish.WATCHED and model.has_begun(fault.spell)
    )


def _used(model: Model, first: int) -> list[int]:
    """A column for each person added, 1 where they serve at all; the second after the first …"""
    used = [model.linear.choice() for _ in range(first, len(model.task.people))]
    for person, column in enumerate(used, start=first):
        for spell in range(len(model.spells)):
            if serves := model.serves(person, spell):
                model.linear.row({**dict.fromkeys(serves, 1.0), column: -1.0}, at_most=0)
    for one, other in pairwise(used):
        model.linear.row({one: 1.0, other: -1.0}, at_least=0)
    return used

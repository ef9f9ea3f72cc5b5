"""How few people more would have everything watched, when and where.

Found by the same model: people are added who could do anything all day, everything is to be
watched, and as few of them as possible are used. First everybody who stands keeps standing; then it
is asked whether fewer would do if others moved for them, and as few of those as can be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from time import perf_counter

from app.planning.building import build
from app.planning.effort import Effort, Progress
from app.planning.facts import MOST_PEOPLE, Assignment, Person, Task
from app.planning.linear import Sum, sum_of
from app.planning.making import assignments, placed_of
from app.planning.model import Model, Placed
from app.planning.results import CrewPlan, Missing
from app.planning.solver import Solver, is_too_much
from app.planning.tally import faults, placed_by
from app.planning.wishes import Wish, unwatched

MORE = "one more"
TOLD_EVERY_S = 0.5


def people_more(task: Task, effort: Effort, made: CrewPlan | None = None) -> Missing:
    """The fewest people more; `task` is one of which something stays unwatched, in `made` if that
    is given: without it anybody may be moved.
    """
    each = replace(effort, limit_s=effort.limit_s / 2)
    moved = _Mending(task, effort if made is None else each, made)
    if made is None:
        return moved.fewest()
    held = _Mending(task, each, made, is_held=True).fewest()
    if held.people is None:
        return moved.fewest()
    fewer = moved.fewest(held.people - 1)
    if fewer.people == 0:
        return fewer
    if fewer.people is None:  # it is proven that there are none, or nobody knows of fewer
        return replace(held, is_proven=held.is_proven and fewer.is_proven)
    return replace(held, fewer=fewer)


@dataclass(slots=True)
class _Mending:
    """One question: how few people more, with those who stand held at their posts or not."""

    task: Task
    effort: Effort
    made: CrewPlan | None
    is_held: bool = False
    _told_s: float = 0.0

    def fewest(self, at_most: int | None = None) -> Missing:
        """As few as can be; None where there are none, or no more than `at_most`."""
        began = perf_counter()
        model = build(self.task)
        added = [Person(f"{MORE} ({n + 1})", MORE) for n in range(_enough(model))]
        people = len(self.task.people) + len(added)
        if people > MOST_PEOPLE or is_too_much(people * model.seat_count):
            return Missing(None, is_proven=False)
        model = build(replace(self.task, people=(*self.task.people, *added)))
        stood = placed_of(model, self.made.assignments) if self.made else {}
        if self.is_held:
            self._hold(model, stood)
        used = _used(model, len(self.task.people))
        model.linear.bound(unwatched(model), at_most=_left_by_then(model))
        if at_most is not None:
            model.linear.row(dict.fromkeys(used, 1.0), at_most=at_most)
        solver = Solver(model.linear, self.effort.seed, lambda _bound: self._hear(began))
        found = solver.minimise(sum_of(used), self.effort.limit_s / 2)
        if found.values is None:
            return Missing(None, is_proven=found.is_impossible)
        people = round(sum(found.values[column] for column in used))
        model.linear.row(dict.fromkeys(used, 1.0), at_most=people)
        left_s = self.effort.limit_s - (perf_counter() - began)
        least = solver.minimise(self._changes(model, stood), left_s, start=found.values)
        placed = placed_by(model, least.values or found.values)
        return self._told(model, placed, people, is_proven=found.bound >= people)

    def _hold(self, model: Model, stood: Placed) -> None:
        """Everybody where they stand, and nobody else of them anywhere."""
        for (person, zone, seat), column in model.taken.items():
            if person < len(self.task.people):
                spell = model.staffings[zone].zone.spell
                value = float(stood.get((person, spell)) == (zone, seat))
                model.linear.lower[column] = model.linear.upper[column] = value

    def _changes(self, model: Model, stood: Placed) -> Sum:
        """Posts of those who come, and of others than whoever stood there."""
        terms = {}
        for (person, zone, seat), column in model.taken.items():
            spell = model.staffings[zone].zone.spell
            is_kept = stood.get((person, spell)) == (zone, seat)
            is_new = person >= len(self.task.people) or bool(self.made)
            terms[column] = -1.0 if is_kept else float(is_new)
        return Sum(terms)

    def _told(self, model: Model, placed: Placed, people: int, *, is_proven: bool) -> Missing:
        plan = tuple(assignments(model, placed))
        if not people:
            return Missing(0, whole=plan, is_proven=True)
        added = {person.id for person in model.task.people[len(self.task.people) :]}
        posts = tuple(one for one in plan if one.person in added)
        return Missing(people, posts, is_proven, self._moved(plan, added))

    def _moved(self, plan: Sequence[Assignment], added: set[str]) -> tuple[Assignment, ...]:
        stood = set() if self.made is None else set(self.made.assignments)
        others = (one for one in plan if one.person not in added)
        return tuple(one for one in others if self.made and one not in stood)

    def _hear(self, began: float) -> bool:
        seconds = perf_counter() - began
        if seconds - self._told_s > TOLD_EVERY_S:
            self._told_s = seconds
            self.effort.tell(Progress(seconds, {}))
        return self.effort.should_stop()


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

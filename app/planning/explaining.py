"""Why a wish was given up: the day is planned again with that wish kept, to see what it costs.

The wishes count one before the other, so whatever is given up is given up for a more important one:
the first that comes out worse when this one is kept wholly.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from time import perf_counter

from app.planning.building import build
from app.planning.effort import Best, Effort, NoPlan
from app.planning.facts import Task
from app.planning.results import CrewPlan, GivenUp
from app.planning.search import Search
from app.planning.wishes import Wish

EXPLAINED = (Wish.BREAKS, Wish.OWN_CLUB, Wish.EXPERIENCE, Wish.FULL_CREWS, Wish.FEW_MOVES)
"""What stays unwatched is told with what would mend it, and nobody's load is ever quite even."""


def given_up(task: Task, plan: CrewPlan, effort: Effort) -> Iterator[GivenUp]:
    """Each wish that the plan falls short of in what is still to be run; the effort is for all of
    them together, and what one of them does not need is left to the others.
    """
    began = perf_counter()
    short = [wish for wish in EXPLAINED if plan.short_of(wish)]
    for done, wish in enumerate(short):
        told = GivenUp(wish, plan.short_of(wish), plan.concerns.get(wish, ()))
        left_s = effort.limit_s - (perf_counter() - began)
        if left_s <= 0 or effort.should_stop():
            yield told
        else:
            each = replace(effort, limit_s=left_s / (len(short) - done))
            yield _explained(task, plan, told, each)


def _explained(task: Task, plan: CrewPlan, told: GivenUp, effort: Effort) -> GivenUp:
    before = [one.wish for one in plan.counted]
    most = {told.wish: plan.run.get(told.wish, 0)}
    try:
        kept = Search(build(task), effort, most).run(before[before.index(told.wish) - 1])
    except NoPlan as none:
        return replace(told, is_impossible=none.is_proven)
    return _with_costs(plan, told, kept)


def _with_costs(plan: CrewPlan, told: GivenUp, kept: Best) -> GivenUp:
    for one in kept.counted:
        if one.bound > plan.count(one.wish):
            return replace(told, costs=one.wish, instead=one.value)
        if one.value > plan.count(one.wish):
            break  # that it must be worse is not proven
    return told

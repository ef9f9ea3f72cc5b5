"""A plan, who is missing, and what was given up and why: all in one time, and told as it goes.

Whoever stops it has what was found by then.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from time import perf_counter

from app.planning.effort import Effort, NoPlan, Phase, Progress
from app.planning.explaining import explained
from app.planning.facts import Task
from app.planning.making import plan_crew
from app.planning.mending import people_more
from app.planning.results import CrewPlan, GivenUp, Missing

PLANNING_SHARE = 0.65
MENDING_SHARE = 0.6
EXPLAINING_SHARE = 0.9
"""Of all the time, and of what is left of it then; what one does not need the next has, and the
last leaves some for what it has begun to come to its end.
"""


@dataclass(frozen=True, slots=True)
class Advice:
    """A plan, the people missing where something stays unwatched, and each wish given up."""

    plan: CrewPlan
    missing: Missing | None
    given_up: tuple[GivenUp, ...]


def advise(task: Task, effort: Effort) -> Advice:
    """Plan, and say what is to be said of the plan. Raises as `plan_crew` does."""
    ends_s = perf_counter() + effort.limit_s
    plan = plan_crew(task, replace(effort, limit_s=effort.limit_s * PLANNING_SHARE))
    missing = None
    if plan.unwatched and not plan.stopped:
        missing = people_more(task, _rest(effort, ends_s, Phase.MENDING, plan), plan)
        if missing.whole:
            rest = _rest(effort, ends_s, Phase.PLANNING, plan)
            # Without the time to take it up, the plan that was found stands.
            with suppress(NoPlan):
                plan, missing = _better_of(plan, plan_crew(task, rest, missing.whole)), None
    explaining = _rest(effort, ends_s, Phase.EXPLAINING, plan)
    # Who is missing is told of this plan, so no other takes its place then.
    plan, given_up = explained(task, plan, explaining, is_final=missing is not None)
    return Advice(plan, missing, given_up)


def _better_of(one: CrewPlan, other: CrewPlan) -> CrewPlan:
    """The other plan of the same task only where it comes to less, the more important wish first.
    What is proven of either holds of the better one: where they differ first, the worse was not
    proven, and what is told of it from there on no plan can go below.
    """
    better = other if other.values < one.values else one
    bounds = (
        max(this.bound, that.bound) for this, that in zip(one.counted, other.counted, strict=True)
    )
    counted = tuple(
        replace(told, bound=min(bound, told.value))
        for told, bound in zip(better.counted, bounds, strict=True)
    )
    return replace(better, counted=counted)


def _rest(effort: Effort, ends_s: float, phase: Phase, plan: CrewPlan) -> Effort:
    """What is left of the time for a phase; it is told with the counts of the plan there is."""
    counts = {one.wish: one.value for one in plan.counted}
    began = ends_s - effort.limit_s

    def tell(_progress: Progress) -> None:
        effort.tell(Progress(perf_counter() - began, counts, phase=phase))

    share = EXPLAINING_SHARE if phase is Phase.EXPLAINING else MENDING_SHARE
    left_s = max(0.0, ends_s - perf_counter())
    told = replace(effort, limit_s=left_s * share, tell=tell)
    tell(Progress(0.0, counts))
    return told

"""A search tells how far it is, ends when it is told to, and is the same each time."""

from __future__ import annotations

import pytest

from app.planning.effort import Effort, NoPlan, Progress
from app.planning.facts import Pin
from app.planning.making import plan_crew
from app.planning.wishes import Wish
from tests.planning.builders import EFFORT, a_small_template, a_span, a_task, heats, people
from tests.planning.test_plans import a_meet
from tests.planning.verifier import Verifier


def test_progress_tells_counts_that_only_become_better() -> None:
    heard: list[Progress] = []
    plan_crew(a_meet(3, 12, 14), Effort(limit_s=4.0, tell=heard.append))
    assert len(heard) > 2
    counts = [tuple(one.counts.values()) for one in heard]
    assert counts == sorted(counts, reverse=True)
    seconds = [one.seconds for one in heard]
    assert seconds == sorted(seconds)


def test_whoever_stops_a_search_has_the_best_plan_so_far() -> None:
    heard: list[Progress] = []
    effort = Effort(limit_s=30.0, tell=heard.append, should_stop=lambda: len(heard) > 3)
    task = a_meet(4, 16, 24)
    plan = plan_crew(task, effort)
    assert plan.stopped
    assert plan.seconds < 10
    assert Verifier(task).broken(plan.assignments) == []
    assert tuple(heard[-1].counts.values()) == tuple(one.value for one in plan.counted)


def test_the_same_task_has_the_same_plan_where_the_time_suffices() -> None:
    task = a_task(people(4, experience=2), heats(6), a_small_template())
    first, second = (plan_crew(task, EFFORT) for _ in range(2))
    assert first.assignments == second.assignments


def test_a_time_that_is_over_leaves_a_plan_and_says_that_nothing_is_proven() -> None:
    task = a_meet(5, 20, 20)
    plan = plan_crew(task, Effort(limit_s=0.0))
    assert not plan.is_optimal
    assert Verifier(task).broken(plan.assignments) == []


def test_a_plan_without_heats_is_empty_and_without_people_unwatched() -> None:
    assert plan_crew(a_task(people(2), ()), EFFORT).is_whole
    nobody = plan_crew(a_task((), heats(1)), EFFORT)
    assert not nobody.is_whole
    assert nobody.count(Wish.WATCHED) == 24


def test_pins_that_contradict_each_other_leave_no_plan() -> None:
    pins = (Pin("Umpire 1", "heat 1", 1), Pin("Umpire 1", "heat 1"))
    with pytest.raises(NoPlan, match="pinned"):
        plan_crew(a_task(people(2), heats(1), pins=pins), EFFORT)


def test_a_pin_against_somebodys_hours_is_refused_by_name() -> None:
    crew = people(1, hours=(a_span("12:00", "13:00"),))
    with pytest.raises(ValueError, match="Umpire 1 cannot be pinned to take-over 2 for heat 1"):
        plan_crew(a_task(crew, heats(1), pins=(Pin("Umpire 1", "heat 1", 2),)), EFFORT)

"""A search tells how far it is, ends when it is told to, and is the same each time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from random import Random
from typing import Any, ClassVar

import pytest

from app.planning.building import build
from app.planning.effort import Effort, NoPlan, Progress
from app.planning.facts import Barred, Pin, Settings, Task
from app.planning.linear import Sum
from app.planning.making import plan_crew
from app.planning.model import Placed
from app.planning.pinning import contradiction
from app.planning.search import Search
from app.planning.solver import Solver
from app.planning.tally import tally
from app.planning.templates import default_template
from app.planning.windows import Windows
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay
from tests.planning.brute_force import best_counts
from tests.planning.builders import (
    EFFORT,
    a_heat,
    a_person,
    a_small_template,
    a_span,
    a_task,
    heats,
    people,
)
from tests.planning.test_plans import a_meet
from tests.planning.verifier import Verifier


def test_progress_tells_counts_that_only_become_better() -> None:
    heard: list[Progress] = []
    plan_crew(a_meet(3, 12, 14), Effort(limit_s=4.0, tell=heard.append))
    assert len(heard) >= 2
    counts = [tuple(one.counts.values()) for one in heard]
    assert counts == sorted(counts, reverse=True)
    seconds = [one.seconds for one in heard]
    assert seconds == sorted(seconds)


def test_whoever_stops_a_search_has_the_best_plan_so_far() -> None:
    heard: list[Progress] = []
    effort = Effort(limit_s=120.0, tell=heard.append, should_stop=lambda: len(heard) > 3)
    task = a_meet(4, 16, 24)
    plan = plan_crew(task, effort)
    assert plan.stopped
    assert plan.seconds - heard[3].seconds < 5  # how soon the fourth comes is the machine's affair
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


def test_even_without_any_time_a_day_with_people_enough_is_watched() -> None:
    task = a_task(people(20), heats(30, Relay.FOUR_BY_100))
    plan = plan_crew(task, Effort(limit_s=0.0))
    assert plan.is_whole
    assert Verifier(task).broken(plan.assignments) == []


def test_a_pin_that_is_no_matter_leaves_the_plan_whole_without_any_time() -> None:
    eight = tuple(range(1, 9))
    task = a_task(people(8), heats(3, Relay.FOUR_BY_100, lanes=eight), default_template(8))
    pinned = replace(task, pins=(Pin("Umpire 1", "heat 2", 1, Edge.END), Pin("Umpire 2", "heat 1")))
    plan = plan_crew(pinned, Effort(limit_s=0.0))
    assert plan.is_whole
    assert Verifier(pinned).broken(plan.assignments) == []


def test_a_task_that_is_too_large_is_refused_before_it_is_set_out() -> None:
    eight = tuple(range(1, 9))
    task = a_task(people(500), heats(1000, Relay.FOUR_BY_100, lanes=eight), default_template(8))
    with pytest.raises(ValueError, match="500 people and 1000 heats are too much for one plan"):
        build(replace(task, settings=Settings(longest_spell_min=1)))


def test_a_plan_without_heats_is_empty_and_without_people_unwatched() -> None:
    assert plan_crew(a_task(people(2), ()), EFFORT).is_whole
    nobody = plan_crew(a_task((), heats(1)), EFFORT)
    assert not nobody.is_whole
    assert nobody.count(Wish.WATCHED) == 24


def test_pins_that_contradict_each_other_are_named_and_no_others() -> None:
    pins = (
        Pin("Umpire 2", "heat 1"),
        Pin("Umpire 1", "heat 1", 1),
        Pin("Umpire 3", "heat 2", 1),
        Pin("Umpire 1", "heat 1"),
    )
    with pytest.raises(NoPlan) as refused:
        plan_crew(a_task(people(3), heats(2), pins=pins), EFFORT)
    assert str(refused.value) == (
        "These pins cannot all hold: Umpire 1 at take-over 1 in Women 4x400, heats, heat 1; "
        "Umpire 1 off in Women 4x400, heats, heat 1. Nobody can do both. Take one of them back."
    )


def test_whoever_does_not_wait_is_told_of_no_pin() -> None:
    pins = (Pin("Umpire 1", "heat 1"), Pin("Umpire 1", "heat 1", 1))
    task = a_task(people(3), heats(2), pins=pins)
    effort = Effort(limit_s=20.0, should_stop=lambda: True)
    assert contradiction(build(task, is_pinned=False), effort) == ()
    assert len(contradiction(build(task, is_pinned=False), Effort(limit_s=20.0))) == 2


def test_pins_with_no_time_to_walk_between_them_are_named() -> None:
    pins = (Pin("Umpire 1", "heat 1", 1), Pin("Umpire 1", "heat 2", 2))
    task = a_task(people(2), heats(2, Relay.FOUR_BY_100, every_min=5), pins=pins)
    with pytest.raises(NoPlan, match=r"heat 1; .*heat 2\. There is no time to walk"):
        plan_crew(task, EFFORT)


def test_more_pinned_to_an_edge_than_it_has_posts_are_named() -> None:
    pins = tuple(Pin(f"Umpire {n}", "heat 1", 1, Edge.START) for n in (1, 2, 3))
    with pytest.raises(NoPlan, match="The template has no posts for all of them"):
        plan_crew(a_task(people(4), heats(1), pins=pins), EFFORT)


def test_what_forbids_a_pin_by_itself_is_named() -> None:
    def refused(pin: Pin, **facts: Any) -> str:
        task = a_task(people(1, **facts), heats(1), a_small_template(), pins=(pin,))
        with pytest.raises(ValueError, match="cannot be") as told:
            plan_crew(task, EFFORT)
        return str(told.value)

    second = Pin("Umpire 1", "heat 1", 2)
    late = refused(second, hours=(a_span("12:00", "13:00"),))
    assert late.startswith("Umpire 1 at take-over 2 in Women 4x400, heats, heat 1 cannot be: their")
    assert "may not take" in refused(second, barred=(Barred(),))
    lanes = frozenset({1, 4, 5})
    assert "the template has no such post" in refused(replace(second, lanes=lanes))


class MendingLate(Search):
    """A search that has its first plan until the last wish, which then meets a better one."""

    better: ClassVar[list[float]]

    def _exchanged(self, placed: Placed, share: float = 1.0) -> Placed:
        return placed

    def _by_windows(self, windows: Windows) -> None:
        pass

    def _lowest(self, solver: Solver, sums: Mapping[Wish, Sum], wish: Wish) -> int:
        if wish is Wish.EVEN_LOAD:
            self._take(self.better)
        return 0


def test_what_is_told_is_what_the_plan_comes_to_where_a_later_wish_has_mended_an_earlier_one() -> (
    None
):
    task = a_task(people(3, experience=2), heats(3), a_small_template())
    thorough = Search(build(task), EFFORT)
    thorough.run()
    MendingLate.better = thorough._values
    model = build(task)
    best = MendingLate(model, EFFORT).run()
    assert [one.value for one in best.counted] == list(tally(model, best.placed).values())
    assert all(one.bound <= one.value for one in best.counted)


def test_no_plan_at_all_is_better_than_what_a_search_says_is_the_least() -> None:
    """Stopped at any point, what is proven lies below the best of all plans, which are counted."""
    for seed in range(3):
        task = a_small_day(seed)
        best = best_counts(task)
        assert best is not None
        for most in (0, 1, 2, 5, 50):
            plan = plan_crew(task, stopped_after(most))
            below = True
            for one, least in zip(plan.counted, best, strict=True):
                if below:
                    assert one.bound <= least
                below = below and one.value == least
            assert [one.value for one in plan.counted] >= best


def stopped_after(times: int) -> Effort:
    """An effort that ends when it was told of so many times."""
    heard: list[Progress] = []
    return Effort(5.0, tell=heard.append, should_stop=lambda: len(heard) > times)


def a_small_day(seed: int) -> Task:
    chance = Random(seed)
    clubs = ("Harbour", "Millbrook")
    crew = [
        a_person(f"U{n}", affiliation=chance.choice(clubs), experience=chance.randint(0, 3))
        for n in range(3)
    ]
    programme = [
        a_heat(n, f"10:{10 * n}", lanes={1: chance.choice(clubs), 2: chance.choice(clubs)})
        for n in (1, 2)
    ]
    settings = Settings(longest_spell_min=9, longest_stint_min=12, shortest_break_min=4)
    return a_task(crew, programme, a_small_template(2), settings=settings)

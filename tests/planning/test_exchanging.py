"""People exchange posts: each step keeps what is firm and makes the plan better, never worse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from app.planning.building import build
from app.planning.effort import Effort
from app.planning.exchanging import Exchanging, exchanged
from app.planning.explaining import EXPLAINED
from app.planning.facts import Before, Person, Pin, Task
from app.planning.filling import filled
from app.planning.making import assignments, plan_crew
from app.planning.model import Model, Placed
from app.planning.tally import rows_of, tally
from app.planning.weighing import Weighing
from app.planning.wishes import Wish
from app.rules.relay import Relay
from tests.bench.planning import a_day
from tests.planning.builders import a_small_template, a_task, heats, people
from tests.planning.test_plans import a_meet
from tests.planning.verifier import Verifier

meets = st.builds(a_meet, st.integers(0, 10_000), st.integers(1, 24), st.integers(1, 16))
ANY_TIME = settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def first_plan(task: Task) -> tuple[Model, Placed]:
    model = build(task)
    placed = filled(model)
    assert placed is not None
    return model, placed


def but_the_load(counts: Sequence[int]) -> list[int]:
    return list(counts)[:-1]


@ANY_TIME
@given(meets)
def test_each_step_makes_the_plan_better_and_breaks_nothing_firm(task: Task) -> None:
    model, placed = first_plan(task)
    verifier, on_the_way = Verifier(task), [placed]

    def go_on(by_now: Exchanging) -> bool:
        if by_now.placed != on_the_way[-1]:
            on_the_way.append(by_now.placed)
        return True

    on_the_way.append(exchanged(model, placed, go_on))
    told = []
    for one in [*on_the_way[:: 1 + len(on_the_way) // 10], on_the_way[-1]]:
        plan = list(assignments(model, one))
        assert verifier.broken(plan) == []
        told.append(verifier.counts(plan))
        assert list(tally(model, one).values()) == told[-1]
    better = [but_the_load(counts) for counts in told]
    assert better == sorted(better, reverse=True)


@ANY_TIME
@given(meets, st.data())
def test_one_post_more_weighs_no_less_than_is_foreseen(task: Task, data: st.DataObject) -> None:
    """Also where a plan before is to be kept, from some heat on."""
    model, placed = first_plan(task)
    if data.draw(st.booleans()):
        stood = tuple(assignments(model, placed))
        from_s = data.draw(st.sampled_from([heat.starts_s for heat in task.heats]))
        model = build(replace(task, before=Before(stood, from_s)))
        placed = {at: post for at, post in (model.before or {}).items() if data.draw(st.booleans())}
    weighing, rows = Weighing(model), rows_of(model, placed)
    free = [
        (person, (zone, seat))
        for person, zone, seat in model.taken
        if model.spell_of(zone).number not in rows[person]
    ]
    assume(free)
    person, post = data.draw(st.sampled_from(free))
    row = {**rows[person], model.spell_of(post[0]).number: post}
    more = weighing.of_row(person, row) - weighing.of_row(person, rows[person])
    assert weighing.at_least(person, weighing.heats_in(rows[person]), post) <= more


def test_whoever_is_told_to_stop_has_the_plan_that_was_there() -> None:
    model, placed = first_plan(a_meet(3, 12, 14))
    assert exchanged(model, placed, lambda _: False) == placed


def test_a_lane_of_the_own_club_goes_to_whoever_has_no_team_there() -> None:
    crew = (Person("A", "A", affiliation="Harbour"), *people(9))
    task = a_task(
        crew, heats(1, Relay.FOUR_BY_100, lanes={1: "Harbour", 2: ""}), a_small_template(2)
    )
    model = build(task)
    zone = next(iter(model.zones_in(0)))
    seat = model.seats(zone)[0]
    placed = {(0, 0): (zone, seat)}
    assert tally(model, placed)[Wish.OWN_CLUB] == 1
    counts = tally(model, exchanged(model, placed))
    assert (counts[Wish.WATCHED], counts[Wish.OWN_CLUB]) == (0, 0)


@ANY_TIME
@given(meets, st.sampled_from(EXPLAINED), st.data())
def test_nothing_firm_is_broken_whatever_wish_counts_first(
    task: Task, first: Wish, data: st.DataObject
) -> None:
    """With somebody who drops out at some heat, and somebody pinned off, or to where they are."""
    model, placed = first_plan(task)
    stood = tuple(assignments(model, placed))
    at = data.draw(st.sampled_from([heat.starts_s for heat in task.heats]))
    gone = data.draw(st.sampled_from([person.id for person in task.people]))
    to_come = {heat.id for heat in task.heats if heat.starts_s >= at}
    pins = [
        Pin(one.person, heat, one.take_overs[0], one.edge)
        for one in stood
        for heat in one.heats
        if one.person != gone and heat in to_come
    ]
    chosen = data.draw(st.lists(st.sampled_from(pins), max_size=3)) if pins else []
    before = Before(stood, at, frozenset({gone}))
    task = replace(task, pins=tuple(chosen), before=before)
    model = build(task)
    begun = {
        (person, spell): post
        for (person, spell), post in (model.before or {}).items()
        if model.has_begun(spell) or person not in model.dropped
    }
    after = exchanged(model, begun, first=first)
    assert Verifier(task).broken(list(assignments(model, after))) == []


def test_pins_and_heats_that_were_run_stay_as_they_are() -> None:
    task = a_meet(4, 16, 12)
    plan = plan_crew(task, Effort(limit_s=1.0)).assignments
    in_time = sorted(task.heats, key=lambda heat: heat.starts_s)
    pinned = next(one for one in plan if in_time[-1].id in one.heats)
    pin = Pin(pinned.person, in_time[-1].id, pinned.take_overs[0], pinned.edge)
    run = {heat.id for heat in in_time[:6]}
    task = replace(task, pins=(pin,), before=Before(plan, in_time[6].starts_s))
    model = build(task)
    after = list(assignments(model, exchanged(model, model.before or {})))
    assert Verifier(task).broken(after) == []
    assert [one for one in after if run & {*one.heats}] == [
        one for one in plan if run & {*one.heats}
    ]


def test_a_plan_before_is_kept_where_nothing_more_important_is_better() -> None:
    task = a_task(people(6, experience=2), heats(8), a_small_template())
    plan = plan_crew(task, Effort(limit_s=5.0))
    assert plan.is_whole
    again = build(replace(task, before=Before(plan.assignments, task.heats[0].starts_s)))
    stood = again.before or {}
    assert exchanged(again, stood) == stood


@pytest.mark.slow
@pytest.mark.parametrize("officials", [40, 60])
def test_a_day_of_a_hundred_heats_is_good_before_any_solver_is_asked(officials: int) -> None:
    """Of what ten seconds are to suffice for, most is had by exchanges alone."""
    model, placed = first_plan(a_day(officials, 100, 1))
    counts = tally(model, exchanged(model, placed))
    assert counts[Wish.WATCHED] == counts[Wish.BREAKS] == 0
    assert counts[Wish.OWN_CLUB] <= 3
    assert counts[Wish.FULL_CREWS] <= 100


def test_what_a_drop_out_watched_is_watched_by_others_however_short_the_time() -> None:
    """A plan with a gap that somebody who is free could fill is none to go out with."""
    task = a_day(40, 20, 1)
    plan = plan_crew(task, Effort(1.0))
    assert plan.is_whole
    leaves = max(task.people, key=lambda one: [a.person for a in plan.assignments].count(one.id))
    without = replace(task, before=Before(plan.assignments, 0, frozenset({leaves.id})))
    changed = plan_crew(without, Effort(0.01))
    assert changed.is_whole
    assert leaves.id not in {one.person for one in changed.assignments}
    assert Verifier(without).broken(changed.assignments) == []

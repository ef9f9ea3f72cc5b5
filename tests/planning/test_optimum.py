"""On small cases no plan at all is better than the one that is made."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.planning.effort import Effort
from app.planning.facts import (
    Barred,
    Before,
    Person,
    Pin,
    PlannedHeat,
    Settings,
    Task,
    Template,
)
from app.planning.making import plan_crew
from app.planning.results import CrewPlan
from app.planning.templates import default_template
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay, Side
from tests.planning.brute_force import best_counts
from tests.planning.builders import (
    EFFORT,
    a_heat,
    a_person,
    a_small_template,
    a_span,
    a_task,
    at,
    heats,
    people,
)
from tests.planning.verifier import Verifier

CLUBS = ("", "Harbour", "Millbrook", "Old Quarry")
EIGHT = tuple(range(1, 9))
SHORT_SPELLS = Settings(longest_spell_min=10, longest_stint_min=20, shortest_break_min=8)
LONG_SPELLS = replace(SHORT_SPELLS, longest_spell_min=40, longest_stint_min=40)

small_people = st.builds(
    Person,
    id=st.just(""),
    name=st.just(""),
    affiliation=st.sampled_from(CLUBS),
    experience=st.integers(0, 3),
    hours=st.sampled_from([(), (), (a_span("9:00", "10:14"),), (a_span("10:05", "12:00"),)]),
    barred=st.sampled_from([(), (), (Barred(edge=Edge.END),), (Barred(side=Side.INSIDE),)]),
)


@st.composite
def small_tasks(draw: st.DrawFn) -> Task:
    """Two or three people, and two to three spells of a relay with one or two zones."""
    relays = draw(st.lists(st.sampled_from([Relay.FOUR_BY_400, Relay.FOUR_BY_200]), max_size=2))
    relays = [Relay.FOUR_BY_400, *relays] if len(relays) < 2 else relays
    crew = draw(st.lists(small_people, min_size=2, max_size=2 if len(relays) > 2 else 3))
    crew = crew[:2] if Relay.FOUR_BY_200 in relays else crew
    teams = st.sampled_from(CLUBS)
    programme, clock = [], at("10:00")
    for number, relay in enumerate(relays, start=1):
        lanes = dict.fromkeys(range(1, draw(st.integers(1, 3)) + 1), "")
        told = f"{clock // 3600}:{clock % 3600 // 60}"
        programme.append(a_heat(number, told, relay, {lane: draw(teams) for lane in lanes}))
        clock += draw(st.sampled_from([5, 7, 12])) * 60
    named = [replace(one, id=f"U{n}", name=f"U{n}") for n, one in enumerate(crew)]
    return a_task(named, programme, a_small_template(), settings=SHORT_SPELLS)


@st.composite
def small_rows(draw: st.DrawFn) -> Task:
    """Three people who can stand anywhere, and a spell in which lanes are empty now and then."""
    crew = draw(st.lists(small_people, min_size=3, max_size=3))
    named = [
        replace(one, id=f"U{n}", name=f"U{n}", hours=(), barred=()) for n, one in enumerate(crew)
    ]
    in_use = st.sets(st.sampled_from([1, 2, 3]), min_size=1)
    teams = [dict.fromkeys(sorted(draw(in_use)), draw(st.sampled_from(CLUBS))) for _ in range(3)]
    programme = [a_heat(n, f"10:{7 * n}", lanes=lanes) for n, lanes in enumerate(teams, start=1)]
    return a_task(named, programme, a_small_template(), settings=LONG_SPELLS)


@pytest.mark.slow
@given(small_tasks() | small_rows())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_plan_of_a_small_case_is_better_and_that_is_proven(task: Task) -> None:
    plan = plan_crew(task, EFFORT)
    verifier = Verifier(task)
    assert verifier.broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == verifier.counts(plan.assignments)
    assert [one.value for one in plan.counted] == best_counts(task)
    assert plan.is_optimal


@pytest.mark.slow
@given(small_tasks(), st.data())
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whoever_drops_out_changes_no_more_than_they_must(task: Task, data: st.DataObject) -> None:
    first = plan_crew(task, EFFORT)
    gone = data.draw(st.sampled_from([person.id for person in task.people]))
    from_s = data.draw(st.sampled_from([heat.starts_s for heat in task.heats]))
    again = replace(task, before=Before(first.assignments, from_s, frozenset({gone})))
    plan = plan_crew(again, EFFORT)
    assert Verifier(again).broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == best_counts(again)
    assert plan.is_whole == Verifier(again).is_watched(plan.assignments)
    assert plan.is_optimal


def test_a_first_plan_that_the_solver_reduces_to_a_better_one_is_not_given_back() -> None:
    """One may stand outside alone, where a crew of two has its end post; HiGHS 1.16 called that
    best and gave back the start, in which nobody watched the end.
    """
    crew = [a_person("Inside"), a_person("Outside", barred=(Barred(side=Side.INSIDE),))]
    task = a_task(crew, heats(1, lanes=(1,)), a_small_template(), settings=SHORT_SPELLS)
    plan = plan_crew(task, EFFORT)
    assert [one.value for one in plan.counted] == best_counts(task)
    assert plan.is_optimal


def test_with_three_people_two_stand_at_the_end_and_the_experienced_is_one_of_them() -> None:
    crew = [a_person("New"), a_person("Old", experience=3), a_person("Other")]
    task = a_task(crew, heats(2), a_small_template())
    plan = plan_crew(task, EFFORT)
    at_end = {one.person for one in plan.assignments if one.edge is Edge.END}
    assert "Old" in at_end
    assert len(at_end) == 2
    assert [one.value for one in plan.counted] == best_counts(task)


def test_a_break_is_worth_a_smaller_crew() -> None:
    """Three spells of nine minutes: whoever serves all of them is past twenty minutes."""
    programme = [a_heat(1, "10:00"), a_heat(2, "10:10"), a_heat(3, "10:20")]
    kept = Settings(longest_spell_min=9, longest_stint_min=20, shortest_break_min=6)
    task = a_task(people(3), programme, a_small_template(), settings=kept)
    plan = plan_crew(task, EFFORT)
    watched, breaks, *_ = Verifier(task).counts(plan.assignments)
    assert (watched, breaks) == (0, 0)
    assert len(plan.assignments) == 6


def test_a_pin_holds_even_where_it_leaves_lanes_unwatched() -> None:
    free = a_task(people(2), heats(2), a_small_template())
    pinned = replace(free, pins=(Pin("Umpire 1", "heat 2"),))
    plan = plan_crew(pinned, EFFORT)
    then = [one for one in plan.assignments if "heat 2" in one.heats]
    assert {one.person for one in then} == {"Umpire 2"}
    assert [one.value for one in plan.counted] == best_counts(pinned)


@pytest.mark.parametrize(
    ("crew", "programme", "wish", "short"),
    [
        # 4x100, eight lanes: start and end at three zones are 48 edges of lanes, four a post.
        (people(10), heats(2, Relay.FOUR_BY_100, lanes=EIGHT), Wish.WATCHED, 2 * (48 - 10 * 4)),
        # 4x400: the umpires of the one zone watch all its three take-overs, six of them as a full
        # crew; of the four at its end two are to be experienced.
        (people(5, experience=3), heats(2, lanes=EIGHT), Wish.FULL_CREWS, 2),
        ((*people(8), a_person("Old", experience=2)), heats(2, lanes=EIGHT), Wish.EXPERIENCE, 2),
    ],
)
def test_what_too_few_people_cannot_do_needs_no_solving(
    crew: tuple[Person, ...], programme: tuple[PlannedHeat, ...], wish: Wish, short: int
) -> None:
    """What the handbook's full crew (4: six umpires a zone for eight lanes) is short of, is known
    however little time there is.
    """
    posts = {people: crew for people, crew in default_template(8).posts.items() if people >= 4}
    task = a_task(crew, programme, Template(posts))
    plan = plan_crew(task, Effort(limit_s=0.0))
    told = {one.wish: one for one in plan.counted}
    assert told[wish].bound == short, told
    assert told[wish].value >= short


def test_of_experience_nothing_is_wished_where_nobody_has_any() -> None:
    programme = heats(2)
    crews = (
        (*people(5), a_person("New", experience=0)),
        (*people(5), a_person("Old", experience=2)),
    )
    counted = [
        {one.wish for one in plan_crew(a_task(crew, programme), EFFORT).counted} for crew in crews
    ]
    assert [Wish.EXPERIENCE in one for one in counted] == [False, True]


def test_a_post_without_a_lane_in_use_makes_no_crew_full_and_brings_no_experience() -> None:
    """Of a row of eight lanes one heat has six: its outermost post watches nothing then, whoever
    has it, and that no plan can mend is known without solving.
    """
    programme = (a_heat(1, "10:00", lanes=EIGHT), a_heat(2, "10:08", lanes=EIGHT[:6]))
    crew = (*people(5, experience=0), a_person("Old", experience=3))
    posts = {6: default_template(8).posts[6]}
    task = a_task(crew, programme, Template(posts))
    pins = tuple(Pin("Old", heat.id, 1, Edge.END, frozenset({7, 8})) for heat in programme)
    outermost, free = (plan_crew(one, EFFORT) for one in (replace(task, pins=pins), task))
    assert (outermost.count(Wish.EXPERIENCE), free.count(Wish.EXPERIENCE)) == (1 + 2, 1 + 1)
    (full,) = (one for one in at_once(task).counted if one.wish is Wish.FULL_CREWS)
    assert (full.value, full.bound) == (1, 1)


def at_once(task: Task) -> CrewPlan:
    return plan_crew(task, Effort(limit_s=0.0))


def test_the_load_of_crews_that_cannot_be_full_is_known_without_solving() -> None:
    programme = tuple(a_heat(n, f"10:{8 * n}", lanes=EIGHT[: 8 - n % 2 * 2]) for n in range(3))
    posts = {6: default_template(8).posts[6]}
    (*_, load) = at_once(a_task(people(6), programme, Template(posts))).counted
    assert (load.wish, load.value, load.bound) == (Wish.EVEN_LOAD, 3, 3)

"""What was given up is told with what it would have cost, and what is missing with a way out."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from math import inf
from pathlib import Path
from time import perf_counter
from typing import Any

import pytest

from app.planning import advising, explaining, mending
from app.planning.effort import Effort
from app.planning.explaining import explained
from app.planning.facts import Assignment, Barred, Before, Settings, Task
from app.planning.limits import USUAL_S
from app.planning.making import plan_crew
from app.planning.mending import people_more
from app.planning.reading import Programme
from app.planning.results import CrewPlan, GivenUp, Missing, Unwatched
from app.planning.telling import told_given_up, told_missing
from app.planning.templates import default_template
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay, Side
from tests.bench.planning import a_day
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

ROOT = Path(__file__).parents[2]
OTHER_WORK_S = 20
"""Of a machine that runs other tests beside this one."""


def told_of(task: Task) -> dict[Wish, GivenUp]:
    return by_wish(task, plan_crew(task, EFFORT), EFFORT)


def by_wish(task: Task, plan: CrewPlan, effort: Effort) -> dict[Wish, GivenUp]:
    return {one.wish: one for one in explained(task, plan, effort)[1]}


def test_an_own_club_that_only_its_own_can_watch_is_told_with_the_lanes_it_would_cost() -> None:
    """But for the end of lane 2, which a crew of three gives to one post, all would be left."""
    crew = [a_person("U1", affiliation="Harbour"), a_person("U2", affiliation="Harbour")]
    task = a_task(crew, heats(2, lanes={1: "Harbour", 2: "Millbrook"}), a_small_template(2))
    told = told_of(task)[Wish.OWN_CLUB]
    assert (told.times, told.costs, told.instead) == (4, Wish.WATCHED, 24 - 6)
    assert {one.person for one in told.concerns} == {"U1", "U2"}
    assert {heat for one in told.concerns for heat in one.heats} == {"heat 1", "heat 2"}


def test_breaks_that_two_people_cannot_have_are_told() -> None:
    kept = Settings(longest_spell_min=9, longest_stint_min=20, shortest_break_min=6)
    programme = [a_heat(number, f"10:{number}0") for number in range(1, 5)]
    told = told_of(a_task(people(2), programme, a_small_template(), settings=kept))[Wish.BREAKS]
    assert told.costs is Wish.WATCHED
    assert told.times == 4
    assert told.instead > 0


def with_experience_that_may_not_stand_at_the_end() -> Task:
    old = a_person("Old", experience=3, barred=(Barred(edge=Edge.END),))
    return a_task((old, *people(2, experience=0)), heats(1), a_small_template())


def test_experience_that_nobody_has_who_may_stand_there_is_no_matter_of_the_plan() -> None:
    assert told_of(with_experience_that_may_not_stand_at_the_end())[Wish.EXPERIENCE].is_impossible


@pytest.mark.parametrize(
    ("crew", "short", "why"),
    [
        (18, 3, "No number of people would mend it: in a heat with fewer lanes than its row"),
        (15, 8, "No number of people would mend 3 of these: in a heat with fewer lanes than"),
    ],
)
def test_what_no_number_of_people_would_mend_is_told_as_such(
    crew: int, short: int, why: str
) -> None:
    """Of eight lanes the second heat has six: there the outermost post of six at each of the three
    zones watches nothing, and of 6 + 6 wished for at one 6 + 5 watch. Of five it is 5 + 4, of four
    4 + 4, since each of them has a lane in use: with 15, as six, five and four, 1 + 3 + 4 lack.
    """
    programme = (
        a_heat(1, "10:00", Relay.FOUR_BY_100, tuple(range(1, 9))),
        a_heat(2, "10:06", Relay.FOUR_BY_100, tuple(range(1, 7))),
    )
    told = told_of(a_task(people(crew), programme, default_template(8)))[Wish.FULL_CREWS]
    assert (told.times, told.idle, told.is_impossible) == (short, 3, crew < 18)
    assert told.is_idle == (crew == 18)
    words = told_given_up(told, {}, Programme(programme, None))
    assert why in words
    assert ("No plan of these people keeps this wholly." in words) == (crew < 18)


def test_whatever_is_kept_is_not_told() -> None:
    assert told_of(a_task(people(6, experience=2), heats(3))) == {}


def test_one_person_at_a_zone_of_two_edges_needs_one_more_for_as_long_as_it_lasts() -> None:
    missing = people_more(a_task(people(1), heats(3)), EFFORT)
    assert (missing.people, missing.is_proven) == (1, True)
    (post,) = missing.posts
    assert post.heats == ("heat 1", "heat 2", "heat 3")


def test_two_who_go_at_noon_are_missed_after_noon_only() -> None:
    crew = people(2, hours=(a_span("9:00", "11:00"),))
    late = heats(2, begin="11:30", first=3)
    missing = people_more(a_task(crew, [*heats(2, begin="10:00"), *late]), EFFORT)
    assert missing.people == 2
    assert {heat for post in missing.posts for heat in post.heats} == {"heat 3", "heat 4"}


def test_three_zones_of_a_race_with_nobody_need_two_people_each() -> None:
    task = a_task(people(1, barred=(Barred(edge=Edge.END), Barred(edge=Edge.START))), heats(1))
    assert people_more(task, EFFORT).people == 2
    race = a_task(people(1), heats(1, Relay.FOUR_BY_100))
    assert people_more(race, EFFORT).people == 5


def test_what_was_not_watched_before_somebody_can_come_is_not_asked_of_them() -> None:
    alone = a_task(people(1), heats(4))
    before = Before(plan_crew(alone, EFFORT).assignments, alone.heats[2].starts_s)
    missing = people_more(replace(alone, before=before), EFFORT)
    assert missing.people == 1
    assert {heat for post in missing.posts for heat in post.heats} == {"heat 3", "heat 4"}


def test_lanes_that_no_template_takes_are_mended_by_nobody() -> None:
    task = a_task(people(3), heats(1, lanes=range(1, 9)), default_template(4))
    assert not plan_crew(task, EFFORT).is_whole
    assert people_more(task, EFFORT).people is None


def test_what_stays_unwatched_is_named_by_edge_lanes_and_heats() -> None:
    plan = plan_crew(a_task(people(1), heats(2)), EFFORT)
    (unwatched,) = plan.unwatched
    assert unwatched.heats == ("heat 1", "heat 2")
    assert unwatched.take_overs == (1, 2, 3)
    assert unwatched.lanes == (1, 2, 3, 4)


def test_whoever_stands_keeps_standing_while_others_come_to_mend_a_plan() -> None:
    task = a_task(people(3), heats(2, Relay.FOUR_BY_100))
    made = plan_crew(task, EFFORT)
    missing = people_more(task, EFFORT, made)
    assert (missing.people, missing.moved, missing.fewer) == (3, (), None)
    unwatched = {(one.take_overs, one.edge) for one in made.unwatched}
    assert {(one.take_overs, one.edge) for one in missing.posts} >= unwatched


def test_fewer_would_do_where_others_are_moved_and_those_are_named() -> None:
    task, made = a_plan_of_which_two_ends_are_empty()
    missing = people_more(task, EFFORT, made)
    assert (missing.people, missing.moved, missing.is_proven) == (2, (), True)
    assert missing.fewer is not None
    assert (missing.fewer.people, missing.fewer.is_proven) == (1, True)
    (moved,) = missing.fewer.moved
    assert moved.person in {"Early", "Late"}


def test_where_nobody_knows_whether_fewer_would_do_the_people_more_are_so_many_at_the_most(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Somebody stops it when what is asked is answered for those who stand where they stand."""
    task, made = a_plan_of_which_two_ends_are_empty()
    asked: list[int | None] = []
    fewest = mending._Mending.fewest

    def counted(question: mending._Mending, at_most: int | None = None) -> Missing:
        asked.append(at_most)
        return fewest(question, at_most)

    monkeypatch.setattr(mending._Mending, "fewest", counted)
    effort = replace(EFFORT, should_stop=lambda: len(asked) > 1)
    missing = people_more(task, effort, made)
    assert (missing.people, missing.fewer, missing.is_proven) == (2, None, False)
    (told, *_) = told_missing(missing, Programme(task.heats, None), {})
    assert told.startswith("2 people more at the most would mend it, and nobody else moves;")


def a_plan_of_which_two_ends_are_empty() -> tuple[Task, CrewPlan]:
    """The end of one zone is empty in the first heat and that of the other in the second, with no
    time to walk between. Where Early or Late goes to the other zone, one person mends both.
    """
    early, late = a_span("9:00", "10:03"), a_span("10:03", "11:00")
    crew = [
        a_person("A"),
        a_person("C"),
        a_person("Early", hours=(early,)),
        a_person("Late", hours=(late,)),
    ]
    task = a_task(crew, heats(2, Relay.FOUR_BY_200), a_small_template())
    start, end = (Edge.START, Side.INSIDE), (Edge.END, Side.OUTSIDE)
    stood = [
        *[("A", heat, (1, 3), start) for heat in ("heat 1", "heat 2")],
        *[("C", heat, (2,), start) for heat in ("heat 1", "heat 2")],
        ("Early", "heat 1", (2,), end),
        ("Late", "heat 2", (1, 3), end),
    ]
    plan = tuple(
        Assignment(who, (heat,), Relay.FOUR_BY_200, take_overs, edge, (1, 2, 3, 4), side)
        for who, heat, take_overs, (edge, side) in stood
    )
    return task, replace(plan_crew(task, EFFORT), assignments=plan)


def test_where_those_who_are_there_suffice_a_whole_plan_comes_with_it() -> None:
    crew = [a_person("Free"), a_person("Barred", barred=(Barred(edge=Edge.START),))]
    task = a_task(crew, heats(2), a_small_template())
    whole = plan_crew(task, EFFORT)
    at_end = next(one for one in whole.assignments if one.edge is Edge.END)
    spoiled = replace(whole, assignments=(replace(at_end, person="Free"),))
    missing = people_more(task, EFFORT, spoiled)
    assert (missing.people, len(missing.whole)) == (0, 2)


def test_a_whole_plan_that_mending_meets_is_taken_over(monkeypatch: pytest.MonkeyPatch) -> None:
    task = a_task(people(6, experience=2), heats(3))
    whole = plan_crew(task, EFFORT)
    watched, *others = whole.counted
    first = spoiled(whole, counted=(replace(watched, value=3), *others))
    advice = advised(task, first, whole, monkeypatch)
    assert advice.plan.assignments == whole.assignments
    assert advice.missing is None


@pytest.mark.parametrize("more", [0, 1])
def test_a_plan_gives_way_to_none_that_is_no_better_and_keeps_what_is_proven_of_either(
    more: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    task = a_task(people(6, experience=2), heats(3))
    whole = plan_crew(task, EFFORT)
    *others, load = whole.counted
    first = spoiled(whole, counted=(*others, replace(load, bound=0)))
    second = replace(whole, counted=(*others, replace(load, value=load.value + more)))
    assert not first.is_optimal
    plan = advised(task, first, second, monkeypatch).plan
    assert (plan.assignments, plan.is_optimal) == (first.assignments, True)


def spoiled(whole: CrewPlan, **facts: Any) -> CrewPlan:
    """The plan without its first post, so that a lane is told as unwatched."""
    left = Unwatched(("heat 1",), Relay.FOUR_BY_400, (1, 2, 3), Edge.END, (1,))
    return replace(whole, assignments=whole.assignments[1:], unwatched=(left,), **facts)


def advised(
    task: Task, first: CrewPlan, second: CrewPlan, monkeypatch: pytest.MonkeyPatch
) -> advising.Advice:
    """What is advised where one plan is found first, and another beginning with a whole one."""

    def planned(_task: Task, _effort: Effort, begin: Sequence[Assignment] = ()) -> CrewPlan:
        return second if begin else first

    with monkeypatch.context() as planning:
        planning.setattr(advising, "plan_crew", planned)
        return advising.advise(task, EFFORT)


def test_what_has_been_run_is_explained_no_more() -> None:
    crew = [a_person("U1", affiliation="Harbour"), a_person("U2", affiliation="Harbour")]
    task = a_task(crew, heats(4, lanes={1: "Harbour", 2: "Millbrook"}), a_small_template(2))
    first = plan_crew(task, EFFORT)
    noon = replace(task, before=Before(first.assignments, task.heats[2].starts_s))
    plan = plan_crew(noon, EFFORT)
    told = by_wish(noon, plan, EFFORT)[Wish.OWN_CLUB]
    assert plan.count(Wish.OWN_CLUB) == 8
    assert (told.times, told.costs) == (4, Wish.WATCHED)
    assert {heat for one in told.concerns for heat in one.heats} == {"heat 3", "heat 4"}
    evening = replace(task, before=Before(first.assignments, at("12:00")))
    assert by_wish(evening, plan_crew(evening, EFFORT), EFFORT) == {}


def test_what_was_left_unwatched_before_noon_is_told_no_more() -> None:
    alone = a_task(people(1), heats(4))
    first = plan_crew(alone, EFFORT)
    noon = replace(alone, before=Before(first.assignments, alone.heats[2].starts_s))
    (left,) = plan_crew(noon, EFFORT).unwatched
    assert left.heats == ("heat 3", "heat 4")


def test_what_keeping_a_wish_costs_is_shown_by_a_plan_where_nothing_can_be_proven_in_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    crew = [a_person("U1", affiliation="Harbour"), a_person("U2", affiliation="Harbour")]
    task = a_task(crew, heats(2, lanes={1: "Harbour", 2: "Millbrook"}), a_small_template(2))
    plan = plan_crew(task, EFFORT)
    with monkeypatch.context() as no_time:
        no_time.setattr(explaining, "PROVING_S", inf)
        told = by_wish(task, plan, EFFORT)[Wish.OWN_CLUB]
    assert (told.kept_to, told.costs, told.instead) == (0, Wish.WATCHED, 24 - 6)
    assert not told.is_proven
    proven = by_wish(task, plan, EFFORT)[Wish.OWN_CLUB]
    assert (proven.costs, proven.instead, proven.is_proven) == (Wish.WATCHED, 24 - 6, True)


def test_a_better_plan_that_is_met_takes_the_place_of_the_one_to_be_explained() -> None:
    """Of two who can take either edge, whoever has the experience stands at its end."""
    crew = [a_person("Old hand", experience=3), a_person("New", experience=0)]
    task = a_task(crew, heats(2), a_small_template(2))
    best = plan_crew(task, EFFORT)
    names = {"Old hand": "New", "New": "Old hand"}
    turned = tuple(replace(one, person=names[one.person]) for one in best.assignments)
    worse = replace(
        best,
        assignments=turned,
        counted=tuple(
            replace(one, value=one.value + 2 * (one.wish is Wish.EXPERIENCE))
            for one in best.counted
        ),
        concerns={Wish.EXPERIENCE: ()},
    )
    plan, told = explained(task, worse, EFFORT)
    assert plan.count(Wish.EXPERIENCE) == best.count(Wish.EXPERIENCE)
    assert Wish.EXPERIENCE not in {one.wish for one in told}
    assert plan.is_optimal == best.is_optimal


@pytest.mark.slow
def test_a_large_day_is_explained_and_ends_in_its_time() -> None:
    """A hundred heats, and officials enough for all but a little."""
    task = a_day(40, 100, 2)
    began = perf_counter()
    advice = advising.advise(task, Effort(limit_s=10.0))
    assert perf_counter() - began < 10 + OTHER_WORK_S
    told = {one.wish: one.costs for one in advice.given_up}
    assert told, "else there would be nothing to explain"
    assert any(told.values()), told


@pytest.mark.slow
def test_a_large_day_is_advised_within_ten_seconds_of_a_processor() -> None:
    """From the start of a process to its end, which other work on the machine does not move."""
    code = (
        "from time import process_time\n"
        "from app.planning.advising import advise\n"
        "from app.planning.effort import Effort\n"
        "from tests.bench.planning import a_day\n"
        "advice = advise(a_day(18, 100, 1), Effort())\n"
        "print(advice.plan.is_whole, len(advice.given_up), process_time())"
    )
    asked = [sys.executable, "-c", code]
    told = subprocess.run(asked, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    is_whole, given_up, used_s = told.split()
    assert (is_whole, int(given_up) > 0) == ("True", True)
    assert float(used_s) < USUAL_S + 1.5


@pytest.mark.slow
def test_a_day_whose_relays_alternate_is_planned_in_its_time() -> None:
    """Each heat has its own posts then: a hundred spells in place of some thirty."""
    relays = (Relay.FOUR_BY_100, Relay.FOUR_BY_400)
    programme = [
        a_heat(number, f"{8 + number // 6}:{number % 6}0", relays[number % 2], tuple(range(1, 9)))
        for number in range(96)
    ]
    task = a_task(people(60, experience=3), programme, default_template(8))
    began = perf_counter()
    advice = advising.advise(task, Effort(limit_s=10.0))
    assert perf_counter() - began < 10 + OTHER_WORK_S
    assert advice.plan.is_whole


def test_whoever_stopped_is_told_what_is_short_without_more_ado() -> None:
    task = with_experience_that_may_not_stand_at_the_end()
    plan = plan_crew(task, EFFORT)
    same, (told,) = explained(task, plan, Effort(should_stop=lambda: True))
    assert same is plan
    assert (told.wish, told.times, told.costs) == (Wish.EXPERIENCE, 1, None)


def test_a_plan_whose_missing_people_were_told_is_not_changed_any_more() -> None:
    task = a_task(people(1), heats(2))
    advice = advising.advise(task, EFFORT)
    assert advice.missing is not None
    assert set(advice.plan.assignments) == set(plan_crew(task, EFFORT).assignments)

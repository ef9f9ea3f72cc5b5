"""What was given up is told with what it would have cost, and what is missing with a way out."""

from __future__ import annotations

from dataclasses import replace

from app.planning.explaining import given_up
from app.planning.facts import Barred, Before, Settings, Task
from app.planning.making import plan_crew
from app.planning.mending import people_more
from app.planning.results import GivenUp
from app.planning.templates import default_template
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay
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


def told_of(task: Task) -> dict[Wish, GivenUp]:
    return {one.wish: one for one in given_up(task, plan_crew(task, EFFORT), EFFORT)}


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


def test_experience_that_nobody_has_is_no_matter_of_the_plan() -> None:
    told = told_of(a_task(people(3, experience=0), heats(1), a_small_template()))
    assert told[Wish.EXPERIENCE].is_impossible


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

"""Plans of whole meets keep every firm rule, hold every pin, and count what they say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from app.planning.advising import advise
from app.planning.building import build
from app.planning.effort import Effort, NoPlan
from app.planning.facts import (
    Assignment,
    Barred,
    Before,
    Person,
    Pin,
    PlannedHeat,
    Settings,
    Task,
)
from app.planning.filling import filled
from app.planning.making import plan_crew
from app.planning.templates import default_template
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay, Side
from tests.planning.builders import (
    EFFORT,
    HOUR_S,
    a_heat,
    a_small_template,
    a_span,
    a_task,
    at,
    heats,
    people,
)
from tests.planning.verifier import PLACES, Verifier

QUICK = Effort(limit_s=3.0)
CLUBS = ("Harbour", "Millbrook", "Old Quarry", "Reed Island", "Tollgate", "Upper Weir")


def a_meet(seed: int, crew: int, count: int) -> Task:
    """A day that looks like one: relays in blocks, a pause now and then, an empty lane."""
    chance = Random(seed)
    relay, clock, programme = Relay.FOUR_BY_100, at("9:00"), []
    for number in range(1, count + 1):
        relay = chance.choice(list(Relay)) if chance.random() < 0.2 else relay
        lanes = chance.sample(range(1, 9), chance.choice([6, 7, 8, 8]))
        teams = {lane: chance.choice(CLUBS) for lane in lanes}
        told = f"{clock // HOUR_S}:{clock % HOUR_S // 60}"
        programme.append(a_heat(number, told, relay, teams))
        gap = chance.choice([4, 5, 6, 8, 30 if chance.random() < 0.2 else 7]) * 60
        clock += max(gap, Settings().takes_s(relay))
    return Task(_crew(chance, crew), tuple(programme), default_template(8))


def _crew(chance: Random, count: int) -> tuple[Person, ...]:
    hours = [(), (), (a_span("8:00", "11:00"),), (a_span("10:00", "23:00"),)]
    bars = [(), (), (), (Barred(take_over=2),), (Barred(edge=Edge.END, side=Side.OUTSIDE),)]
    return tuple(
        Person(
            id=f"U{number}",
            name=f"U{number}",
            affiliation=chance.choice([*CLUBS, ""]),
            experience=chance.randint(0, 3),
            hours=chance.choice(hours),
            barred=chance.choice(bars),
        )
        for number in range(count)
    )


meets = st.builds(a_meet, st.integers(0, 10_000), st.integers(1, 24), st.integers(1, 24))


@pytest.mark.slow
@given(meets)
@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_plan_breaks_no_firm_rule_and_counts_what_it_says(task: Task) -> None:
    plan, verifier = plan_crew(task, QUICK), Verifier(task)
    assert verifier.broken(plan.assignments) == []
    counts = verifier.counts(plan.assignments)
    assert [one.value for one in plan.counted] == counts
    assert plan.is_whole == (counts[0] == 0)
    assert all(one.bound <= one.value for one in plan.counted)
    assert all(idle <= plan.short_of(wish) for wish, idle in plan.idle.items())


@pytest.mark.slow
@given(meets, st.integers(0, 1000))
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_pinned_holds(task: Task, seed: int) -> None:
    first = plan_crew(task, QUICK)
    kept = [Pin(one.person, one.heats[0], one.take_overs[0], one.edge) for one in first.assignments]
    chosen = Random(seed).sample(kept, min(3, len(kept)))
    off = Pin(task.people[0].id, task.heats[-1].id)
    pins = tuple(dict.fromkeys(one for one in chosen if one.person != off.person))
    pinned = replace(task, pins=(*pins, off))
    assert Verifier(pinned).broken(plan_crew(pinned, QUICK).assignments) == []


@pytest.mark.slow
@given(meets, st.integers(0, 1000))
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_pinned_holds_however_little_time_there_is(task: Task, seed: int) -> None:
    """Pinned to any post that they may have, more than one at a time or off."""
    chance, model = Random(seed), build(task)
    taken = chance.sample(sorted(model.taken), min(4, len(model.taken)))
    pins = {
        (person, zone): Pin(
            task.people[person].id,
            chance.choice(model.spell_of(zone).heats).id,
            chance.choice([None, *model.staffings[zone].zone.take_overs]),
            chance.choice([None, seat.edge]),
        )
        for person, zone, seat in taken
    }
    pinned = replace(task, pins=tuple(pins.values()))
    try:
        plan = plan_crew(pinned, Effort(limit_s=0.0))
    except NoPlan as none:
        told, plan = none, None
    if plan is None:
        event("pins that cannot all hold, or for which there was no time")
        assert told.is_proven or filled(build(pinned)) is None
        return
    assert Verifier(pinned).broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == Verifier(pinned).counts(plan.assignments)


@pytest.mark.slow
@given(meets, st.data())
@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_has_been_run_stays_and_whoever_dropped_out_stands_nowhere(
    task: Task, data: st.DataObject
) -> None:
    first = plan_crew(task, QUICK)
    gone = data.draw(st.sampled_from([person.id for person in task.people]))
    from_s = data.draw(st.sampled_from([heat.starts_s for heat in task.heats]))
    again = replace(task, before=Before(first.assignments, from_s, frozenset({gone})))
    plan, verifier = plan_crew(again, QUICK), Verifier(again)
    assert verifier.broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == verifier.counts(plan.assignments)
    assert plan.is_whole == verifier.is_watched(plan.assignments)


def test_nobody_dropping_out_changes_nothing() -> None:
    task = a_task(people(9), [*heats(5), *heats(5, Relay.FOUR_BY_200, begin="10:25", first=6)])
    first = plan_crew(task, QUICK)
    assert first.is_whole, "else there would be a reason to change it"
    again = replace(task, before=Before(first.assignments, task.heats[3].starts_s))
    plan, verifier = plan_crew(again, QUICK), Verifier(again)
    assert verifier.counts(plan.assignments)[1] == 0
    assert _posts(plan.assignments) == _posts(first.assignments)


def test_lanes_in_which_only_a_heat_that_was_run_had_teams_are_not_told_as_unwatched() -> None:
    """Both parts of a row that is cut have the lanes of the whole, and nobody is there for them."""
    eight, six = a_heat(1, "10:00", lanes=range(1, 9)), a_heat(2, "10:08", lanes=range(1, 7))
    task = a_task(people(6), (eight, six))
    first = plan_crew(task, EFFORT).assignments
    outermost = next(one.person for one in first if one.edge is Edge.END and one.lanes == (7, 8))
    before = Before(first, six.starts_s, frozenset({outermost}))
    plan = plan_crew(replace(task, before=before), EFFORT)
    assert plan.count(Wish.WATCHED) == 0
    assert plan.unwatched == ()


def test_two_posts_of_one_edge_are_kept_as_one() -> None:
    task = a_task(people(6), heats(3), a_small_template())
    whole = plan_crew(task, EFFORT).assignments
    in_halves = tuple(
        replace(one, lanes=lanes)
        for one in whole
        for lanes in (one.lanes[: len(one.lanes) // 2], one.lanes[len(one.lanes) // 2 :])
        if lanes
    )
    again = replace(task, before=Before(in_halves, task.heats[0].starts_s))
    assert _posts(plan_crew(again, EFFORT).assignments) == _posts(whole)


def test_nobody_is_kept_at_both_edges_at_once() -> None:
    task = a_task(people(2), heats(1), a_small_template(2))
    one = plan_crew(task, QUICK).assignments[0]
    other = replace(one, edge=Edge.START if one.edge is Edge.END else Edge.END)
    with pytest.raises(ValueError, match="at two posts in Women 4x400, heats, heat 1"):
        plan_crew(replace(task, before=Before((one, other), 0)), QUICK)


def _posts(plan: tuple[Assignment, ...]) -> set[tuple[object, ...]]:
    return {
        (heat, one.person, one.take_overs, one.edge, one.lanes)
        for one in plan
        for heat in one.heats
    }


@pytest.mark.parametrize("spoil", ["twice", "hours", "lanes", "barred", "walk"])
def test_the_verifier_sees_a_spoiled_plan(spoil: str) -> None:
    task = Task(_plain_crew(), _two_blocks(), default_template(4))
    plan, verifier = list(plan_crew(task, QUICK).assignments), Verifier(task)
    assert verifier.broken(plan) == []
    one = plan[0]
    if spoil == "twice":
        plan.append(replace(one, edge=Edge.START if one.edge is Edge.END else Edge.END))
    if spoil == "hours":
        late = replace(verifier.people[one.person], hours=(a_span("22:00", "23:00"),))
        verifier.people[one.person] = late
    if spoil == "lanes":
        plan[0] = replace(one, lanes=(1, 2, 3, 4, 5))
    if spoil == "barred":
        barred = replace(verifier.people[one.person], barred=(Barred(edge=one.edge),))
        verifier.people[one.person] = barred
    if spoil == "walk":
        first, then = ("heat 1",), ("heat 2",)
        plan = [
            Assignment("U0", first, Relay.FOUR_BY_100, (2,), Edge.START, (1, 2, 3, 4), Side.INSIDE),
            Assignment("U0", then, Relay.FOUR_BY_400, (1, 2, 3), Edge.END, (1, 2), Side.INSIDE),
        ]
    assert verifier.broken(plan) != []


def _plain_crew() -> tuple[Person, ...]:
    return tuple(Person(f"U{number}", f"U{number}") for number in range(10))


def _two_blocks() -> tuple[PlannedHeat, ...]:
    lanes = (1, 2, 3, 4)
    return (
        a_heat(1, "10:00", Relay.FOUR_BY_100, lanes),
        a_heat(2, "10:05", Relay.FOUR_BY_400, lanes),
    )


def test_a_way_that_was_too_short_a_time_ago_forbids_no_plan() -> None:
    """Whoever made the plan by hand, and ran two heats by it, plans the rest with this one."""
    task = a_task(people(8), heats(3, Relay.FOUR_BY_100), a_small_template())
    (first, second, third) = task.heats
    run = tuple(
        Assignment(
            "Umpire 1", (heat.id,), Relay.FOUR_BY_100, at, Edge.START, (1, 2, 3, 4), Side.INSIDE
        )
        for heat, at in ((first, (1,)), (second, (3,)))
    )
    pins = (Pin("Umpire 2", third.id),)
    again = replace(task, before=Before(run, third.starts_s), pins=pins)
    plan = plan_crew(again, QUICK)
    assert {one.heats for one in plan.assignments if one.person == "Umpire 1"} >= {
        (first.id,),
        (second.id,),
    }


def test_a_lane_that_two_have_watched_makes_up_for_none_of_the_next_heat() -> None:
    """By hand, all six of a crew can be put at one edge of all lanes: the others were not watched,
    and the heat to come is as open as any.
    """
    first, second = heats(2)
    lanes = tuple(first.lanes)
    places = [(Edge.END, side) for side in (Side.INSIDE, Side.OUTSIDE)] * 3
    run = tuple(
        Assignment(person.id, (first.id,), first.relay, (1, 2, 3), edge, lanes, side)
        for person, (edge, side) in zip(people(2), places, strict=False)
    )
    task = a_task(people(2), (first, second), a_small_template())
    plan = plan_crew(replace(task, before=Before(run, second.starts_s)), EFFORT)
    unwatched = next(one for one in plan.counted if one.wish is Wish.WATCHED)
    assert (unwatched.value, unwatched.bound) == (3 * len(lanes), 3 * len(lanes))
    assert plan.is_whole  # of what is still to be run


LANES = (1, 2, 3, 4)


def stood(
    person: str,
    heat: PlannedHeat,
    edge: Edge = Edge.END,
    *take_overs: int,
    lanes: tuple[int, ...] = LANES,
) -> Assignment:
    """A post inside as somebody plans it by hand: for some take-overs of a heat, or for all."""
    of = take_overs or (1, 2, 3)
    return Assignment(person, (heat.id,), heat.relay, of, edge, lanes, Side.INSIDE)


def one_for_each_take_over(heat: PlannedHeat) -> tuple[Assignment, ...]:
    """Six by hand, an edge of a take-over each."""
    places = [(edge, take_over) for take_over in (1, 2, 3) for edge in Edge]
    return tuple(
        stood(person.id, heat, edge, take_over)
        for person, (edge, take_over) in zip(people(6), places, strict=True)
    )


def two_at_one_post(heat: PlannedHeat) -> tuple[Assignment, ...]:
    """Somebody who learns beside somebody who knows, both at one post."""
    return (
        stood("Umpire 1", heat),
        stood("Umpire 2", heat),
        stood("Umpire 3", heat, Edge.START),
    )


def one_at_both_edges(heat: PlannedHeat) -> tuple[Assignment, ...]:
    return stood("Umpire 1", heat, Edge.START), stood("Umpire 1", heat, Edge.END)


@pytest.mark.parametrize(
    ("by_hand", "relay"),
    [
        *((one_for_each_take_over, relay) for relay in Relay),
        (two_at_one_post, Relay.FOUR_BY_400),
        (one_at_both_edges, Relay.FOUR_BY_400),
    ],
)
def test_heats_that_have_begun_stay_post_by_post_whatever_their_posts_are(
    by_hand: Callable[[PlannedHeat], tuple[Assignment, ...]], relay: Relay
) -> None:
    """Even where a template has no such posts: nobody can still stand there otherwise."""
    programme = heats(4, relay, every_min=20)
    run = tuple(post for heat in programme[:2] for post in by_hand(heat))
    before = Before(run, programme[2].starts_s, frozenset({"Umpire 1"}))
    task = a_task(people(8, experience=2), programme, a_small_template(), before=before)
    plan, verifier = plan_crew(task, EFFORT), Verifier(task)
    assert verifier.broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == verifier.counts(plan.assignments)
    assert plan.is_whole
    begun = {heat.id for heat in programme[:2]}
    assert tuple(one for one in plan.assignments if begun & {*one.heats}) == run


@pytest.mark.slow
@given(st.sampled_from(list(Relay)), st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_was_run_by_hand_is_counted_as_it_was(relay: Relay, chance: Random) -> None:
    """By anybody, for any take-overs of one place, over any lanes, some of them twice."""
    programme = heats(4, relay, every_min=chance.choice([13, 15, 40]))
    crew = tuple(replace(one, experience=chance.randint(0, 3)) for one in people(7))
    run = tuple(
        stood(person.id, heat, chance.choice(list(Edge)), *of, lanes=lanes)
        for heat in programme[:2]
        for person in chance.sample(crew, chance.randint(0, 7))
        for place in [chance.choice([*PLACES[relay].values()])]
        for of in [tuple(sorted(chance.sample(place, chance.randint(1, len(place)))))]
        for lanes in [tuple(sorted(chance.sample(LANES, chance.randint(1, 4))))]
    )
    before = Before(run, programme[2].starts_s, frozenset({chance.choice(crew).id}))
    task = a_task(crew, programme, a_small_template(), before=before)
    plan, verifier = plan_crew(task, QUICK), Verifier(task)
    assert verifier.broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == verifier.counts(plan.assignments)


def test_whoever_stands_for_one_take_over_of_several_at_a_place_stands_at_that_place() -> None:
    first, then = heats(2)
    posts = [(Edge.START, 1, Side.INSIDE), (Edge.END, 3, Side.OUTSIDE)]
    before = tuple(
        replace(stood(person.id, heat, edge, take_over), side=side)
        for heat in (first, then)
        for person, (edge, take_over, side) in zip(people(2), posts, strict=True)
    )
    task = a_task(people(4), (first, then), a_small_template())
    again = replace(task, before=Before(before, then.starts_s))
    plan, verifier = plan_crew(again, EFFORT), Verifier(again)
    assert verifier.broken(plan.assignments) == []
    assert [one.value for one in plan.counted] == verifier.counts(plan.assignments)
    assert plan.count(Wish.UNCHANGED) == 0
    assert {one.person for one in plan.assignments} == {"Umpire 1", "Umpire 2"}


def test_two_posts_at_once_are_no_matter_where_they_have_begun_or_whoever_has_them_is_gone() -> (
    None
):
    first, then = heats(2)
    both = tuple(post for heat in (first, then) for post in one_at_both_edges(heat))
    task = a_task(people(4), (first, then), a_small_template())
    with pytest.raises(ValueError, match="at two posts in Women 4x400, heats, heat 2"):
        plan_crew(replace(task, before=Before(both, then.starts_s)), QUICK)
    gone = Before(both, then.starts_s, frozenset({"Umpire 1"}))
    for before in (gone, Before(both[:2], then.starts_s)):
        assert plan_crew(replace(task, before=before), EFFORT).is_whole


def test_a_day_for_almost_as_many_as_a_plan_takes_is_planned_though_more_are_missing() -> None:
    late = tuple(replace(one, hours=(a_span("10:01", "12:00"),)) for one in people(497))
    advice = advise(a_task(late, heats(2)), QUICK)
    assert not advice.plan.is_whole
    assert advice.missing is not None
    assert advice.missing.people is None

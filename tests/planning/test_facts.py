"""Templates share lanes out, spells cut the day, and what contradicts itself is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.planning.cuts import MOST_BY_HOURS, cuts_of
from app.planning.effort import NoPlan
from app.planning.facts import (
    Barred,
    Person,
    Pin,
    PostShape,
    Settings,
    Span,
    Task,
    Template,
)
from app.planning.making import plan_crew
from app.planning.places import Stand, way_m
from app.planning.spells import cut_into_spells, heats_at_once, own_heats, zones_of
from app.planning.templates import default_template, shared_out
from app.planning.timing import Timing
from app.planning.wishes import Wish
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track
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

EIGHT = range(1, 9)
EIGHT_LANES = default_template(8)


def test_the_crew_of_six_stands_as_the_handbook_has_it() -> None:
    posts = default_template(8).posts[6]
    shares = shared_out(posts, EIGHT)
    told = [(p.edge, p.side, lanes) for p, lanes in zip(posts, shares, strict=True)]
    assert told == [
        (Edge.START, Side.INSIDE, (1, 2, 3, 4)),
        (Edge.START, Side.OUTSIDE, (5, 6, 7, 8)),
        (Edge.END, Side.INSIDE, (1, 2)),
        (Edge.END, Side.INSIDE, (3, 4)),
        (Edge.END, Side.OUTSIDE, (5, 6)),
        (Edge.END, Side.OUTSIDE, (7, 8)),
    ]


@given(st.integers(1, 10), st.data())
def test_every_default_crew_watches_every_edge_once_and_nobody_has_too_many(
    lanes: int, data: st.DataObject
) -> None:
    used = sorted(data.draw(st.sets(st.integers(1, 10), min_size=1, max_size=lanes)))
    for posts in default_template(lanes).posts.values():
        shares = shared_out(posts, used)
        for edge in Edge:
            theirs = [(p, s) for p, s in zip(posts, shares, strict=True) if p.edge is edge]
            assert [lane for _, share in theirs for lane in share] == used
            assert all(len(share) <= post.most_lanes for post, share in theirs)


def test_inside_posts_have_the_inner_lanes_however_a_template_lists_them() -> None:
    outside, inside = (PostShape(Edge.END, side, 4) for side in (Side.OUTSIDE, Side.INSIDE))
    start = PostShape(Edge.START, Side.INSIDE, 8)
    assert shared_out((outside, inside, start), (2, 3, 5, 7)) == ((5, 7), (2, 3), (2, 3, 5, 7))


def test_posts_that_cannot_take_all_lanes_take_their_most_of_those_most_in_use() -> None:
    posts = default_template(4).posts[3]
    assert shared_out(posts, (1, 2, 4, 5, 6, 3)) == ((1, 2, 4, 5), (1, 2), (4, 5))


def test_lanes_that_no_crew_takes_together_begin_a_spell() -> None:
    programme = [a_heat(1, "10:00", lanes=(1, 2, 3, 4)), a_heat(2, "10:05", lanes=(2, 3, 4, 5))]
    assert len(cut_into_spells(programme, Settings(), EIGHT_LANES)) == 1
    assert len(cut_into_spells(programme, Settings(), default_template(4))) == 2
    too_many = [a_heat(number, f"10:{number:02}", lanes=range(1, 6)) for number in (0, 5)]
    assert len(cut_into_spells(too_many, Settings(), default_template(4))) == 1


def test_heats_of_one_relay_are_one_spell_until_it_is_long_enough() -> None:
    spells = cut_into_spells(heats(12), Settings(longest_spell_min=30), EIGHT_LANES)
    assert [len(spell.heats) for spell in spells] == [5, 5, 2]
    assert spells[0].begins_s == spells[0].heats[0].starts_s - 120
    assert spells[0].ends_s == spells[0].heats[-1].starts_s + 300


def test_whoever_sees_a_4x800_stays_until_its_last_take_over_is_over() -> None:
    # common practice: a slow field takes twelve minutes, of which three legs are before it
    race = a_heat(1, "10:00", Relay.FOUR_BY_800)
    (spell,) = cut_into_spells([race], Settings(), EIGHT_LANES)
    assert spell.ends_s == at("10:12")
    with pytest.raises(ValueError, match="a 4x800 takes 12 min"):
        cut_into_spells([race, a_heat(2, "10:11", Relay.FOUR_BY_100)], Settings(), EIGHT_LANES)


@pytest.mark.parametrize(
    "then",
    [
        a_heat(2, "10:05", Relay.FOUR_BY_100),
        a_heat(2, "10:40"),
        a_heat(2, "10:05", lanes=(4, 5, 6)),
    ],
    ids=["another relay", "after a pause", "other lanes"],
)
def test_another_relay_a_pause_or_other_lanes_begin_a_spell(then: object) -> None:
    assert len(cut_into_spells([a_heat(1, "10:00"), then], Settings(), EIGHT_LANES)) == 2


def test_a_cut_leaves_both_parts_the_lanes_of_the_whole() -> None:
    programme = [a_heat(1, "10:00", lanes=(1, 2, 3)), a_heat(2, "10:05", lanes=(2, 3))]
    first, second = cut_into_spells(programme, Settings(), EIGHT_LANES, [programme[1].starts_s])
    assert first.lanes == second.lanes == (1, 2, 3)


def test_two_heats_at_once_are_refused_with_their_names() -> None:
    programme = [a_heat(1, "10:00"), a_heat(2, "10:02"), a_heat(3, "11:00"), a_heat(4, "11:04")]
    with pytest.raises(ValueError, match=r"heat 2 starts while .* heat 1 is still run.*heat 4"):
        cut_into_spells(programme, Settings(), EIGHT_LANES)


def test_a_long_race_is_still_run_after_a_short_one_within_it() -> None:
    programme = [
        a_heat(1, "10:00", Relay.FOUR_BY_800),
        a_heat(2, "10:02", Relay.FOUR_BY_100),
        a_heat(3, "10:08", Relay.FOUR_BY_100),
    ]
    at_once = heats_at_once(programme, Settings())
    assert [(one.number, other.number) for one, other in at_once] == [(1, 2), (1, 3)]


def test_many_heats_at_once_are_counted_behind_the_first() -> None:
    programme = [a_heat(number, "10:00") for number in range(1, 12)]
    with pytest.raises(ValueError, match=r"So it is with 5 more\. Correct their start times"):
        cut_into_spells(programme, Settings(), EIGHT_LANES)


def test_take_overs_at_one_place_are_one_zone() -> None:
    def take_overs(relay: Relay) -> list[tuple[int, ...]]:
        (spell,) = cut_into_spells([a_heat(1, "10:00", relay)], Settings(), EIGHT_LANES)
        return [zone.take_overs for zone in zones_of(spell, Track())]

    assert take_overs(Relay.FOUR_BY_400) == [(1, 2, 3)]
    assert take_overs(Relay.FOUR_BY_200) == [(1, 3), (2,)]
    assert take_overs(Relay.FOUR_BY_100) == [(1,), (2,), (3,)]


def test_the_own_club_counts_the_heats_of_watched_lanes_without_regard_to_case() -> None:
    programme = [
        a_heat(1, "10:00", lanes={1: "Harbour", 2: "Millbrook"}),
        a_heat(2, "10:05", lanes={1: "Millbrook", 2: "HARBOUR "}),
    ]
    (spell,) = cut_into_spells(programme, Settings(), EIGHT_LANES)
    assert own_heats(spell, (1,), "harbour") == 1
    assert own_heats(spell, (1, 2), "Harbour") == 2
    assert own_heats(spell, (1, 2), "") == 0


def test_a_short_spell_off_is_no_break_but_two_of_them_are() -> None:
    programme = [a_heat(number, f"10:{number:02}") for number in range(0, 50, 10)]
    kept = Settings(longest_spell_min=9, longest_stint_min=20, shortest_break_min=16)
    timing = Timing(cut_into_spells(programme, kept, EIGHT_LANES), kept)
    assert [(one.first, one.last) for one in timing.stretches(0, 4)] == [(1, 2), (2, 3)]
    assert not timing.is_break(0, 2)
    assert timing.is_break(0, 3)


def test_nobody_walks_half_a_lap_between_two_heats_that_follow_at_once() -> None:
    spells = cut_into_spells(
        [*heats(1), *heats(1, Relay.FOUR_BY_100, begin="10:09", first=2)], Settings(), EIGHT_LANES
    )
    timing = Timing(spells, Settings())
    assert timing.can_walk(0, 1, 100)
    assert not timing.can_walk(0, 1, 200)
    assert timing.can_walk(0, 1, 0)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Span(10, 10),
        lambda: Person("U", "U", experience=4),
        lambda: Template({}),
        lambda: Template({3: (PostShape(Edge.START, Side.INSIDE, 8),)}),
        lambda: Settings(walk_m_s=0),
        lambda: Settings(heat_takes_min=0),
        lambda: Settings(longest_spell_min=60, longest_stint_min=30),
        lambda: a_task([a_person("U"), a_person("U")], ()),
        lambda: a_task((), [a_heat(1, "10:00"), a_heat(1, "11:00")]),
        lambda: Task(people(501), (), default_template(8)),
    ],
)
def test_what_contradicts_itself_is_refused(make: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        make()


def test_hours_hold_only_what_lies_wholly_within_one_of_them() -> None:
    person = a_person("U", hours=(a_span("9:00", "10:00"), a_span("10:00", "11:00")))
    assert person.is_there(9 * 3600, 10 * 3600)
    assert not person.is_there(9 * 3600 + 1, 10 * 3600 + 1)


def test_whoever_comes_or_goes_within_a_row_of_heats_is_asked_for_their_part_of_it() -> None:
    crew = (*people(1), a_person("Late", hours=(a_span("10:08", "11:00"),)))
    task = a_task(crew, heats(5))
    assert cuts_of(task) == {at("10:10")}
    served = {
        heat
        for one in plan_crew(task, EFFORT).assignments
        for heat in one.heats
        if one.person == "Late"
    }
    assert served == {"heat 3", "heat 4", "heat 5"}


def test_hours_that_end_where_heats_do_cut_nothing() -> None:
    crew = people(3, hours=(a_span("9:00", "9:30"), a_span("9:58", "10:25")))
    assert cuts_of(a_task(crew, heats(5))) == frozenset()


def test_a_pin_binds_its_heat_and_not_those_around_it() -> None:
    pins = (Pin("Umpire 1", "heat 3"), Pin("Umpire 2", "heat 2", 1), Pin("Umpire 2", "heat 3", 1))
    task = a_task(people(3), heats(5), a_small_template(), pins=pins)
    assert cuts_of(task) == {at("10:05"), at("10:10"), at("10:15")}
    served = {
        heat
        for one in plan_crew(task, EFFORT).assignments
        for heat in one.heats
        if one.person == "Umpire 1"
    }
    assert served == {"heat 1", "heat 2", "heat 4", "heat 5"}


def test_cuts_by_hours_stay_few_however_many_come_and_go() -> None:
    crew = [
        a_person(f"U{n}", hours=(a_span("9:00", f"1{n // 60}:{n % 60:02}"),)) for n in range(1, 400)
    ]
    assert len(cuts_of(a_task(crew, heats(100)))) <= MOST_BY_HOURS


def test_a_bar_means_a_place_and_take_overs_at_one_place_are_barred_together() -> None:
    second = a_person("U", barred=(Barred(take_over=2),))
    assert not second.may_take((2,), Edge.END, Side.INSIDE)
    assert second.may_take((1, 2, 3), Edge.END, Side.INSIDE)
    ends = (Barred(edge=Edge.END),)
    assert not a_person("U", barred=ends).may_take((1, 2, 3), Edge.END, Side.INSIDE)
    each = tuple(Barred(take_over=number) for number in (1, 2, 3))
    assert not a_person("U", barred=each).may_take((1, 2, 3), Edge.START, Side.INSIDE)


def test_an_own_club_counts_as_long_as_teams_have_lanes() -> None:
    """A 4x800 leaves its lanes before its first take-over, a medley before its third."""
    crew = [a_person(f"U{n}", affiliation="Harbour") for n in range(6)]
    lanes = {1: "Harbour", 2: "Harbour"}
    for relay, heats_over in ((Relay.FOUR_BY_800, 0), (Relay.MEDLEY, 4), (Relay.FOUR_BY_100, 6)):
        task = a_task(crew, [a_heat(1, "10:00", relay, lanes)], a_template_of_two())
        assert plan_crew(task, EFFORT).count(Wish.OWN_CLUB) == heats_over


def a_template_of_two() -> Template:
    inside, outside = PostShape(Edge.START, Side.INSIDE, 8), PostShape(Edge.END, Side.OUTSIDE, 8)
    return Template({2: (inside, outside)})


def test_the_zones_of_outer_lanes_lie_farther_on() -> None:
    """The leg line of a first take-over in lane 8 lies 53.030 m further along its lane than in lane
    1, less what the lane's second bend is longer by (stagger table of the IAAF Track and Field
    Facilities Manual 2008): 26.515 m on from the same place, straight across at the straight.
    """
    finish = Stand(Relay.FOUR_BY_400, (3,), Edge.START, (1,), Side.INSIDE)

    def away(lane: int) -> float:
        stand = Stand(Relay.FOUR_BY_100, (1,), Edge.END, (lane,), Side.INSIDE)
        return way_m(Track(), finish, stand)

    assert away(1) == pytest.approx(120, abs=0.05)
    assert away(8) - away(1) == pytest.approx(26.515, abs=0.05)


def test_a_walk_that_lane_1_leaves_time_for_is_not_asked_of_whoever_goes_to_lane_8() -> None:
    """120 m are 100 s at 1.2 m/s and 147 m are 122 s; between the two races lie 110 s."""
    start, end = PostShape(Edge.START, Side.INSIDE, 1), PostShape(Edge.END, Side.INSIDE, 1)
    for lane, races in ((1, 2), (8, 1)):
        second = replace(a_heat(2, "10:08", Relay.FOUR_BY_100, (lane,)), starts_s=at("10:08") + 50)
        pins = (Pin("U", "heat 1", 1, Edge.START), Pin("U", "heat 2", 1, Edge.END))
        task = a_task(
            [a_person("U")], (a_heat(1, "10:00", lanes=(1,)), second), Template({2: (start, end)})
        )
        model = replace(task, pins=pins)
        if races == 2:
            assert len(plan_crew(model, EFFORT).assignments) == 2
        else:
            with pytest.raises(NoPlan):
                plan_crew(model, EFFORT)

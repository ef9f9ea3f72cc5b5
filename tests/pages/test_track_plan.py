"""The crew plan as pictures: every post and every unwatched edge is on it, where it belongs.

That the zones lie where the published tables have them is held in `tests/rules/test_on_plan.py`.
"""

from __future__ import annotations

import re
from collections import Counter
from itertools import combinations
from math import hypot

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given, settings
from hypothesis import strategies as st

from app.crew.wire import PostOut, Side
from app.pages.track_plan import CLEAR_M, MARK_M, SIGN_M, plan_track, runs
from app.pages.zone_plan import MARK, ROW, plan_zone
from app.rules.on_plan import edge_radius, line_across
from app.rules.relay import Edge, Relay
from app.rules.track import Section, Track, zone_on_track
from tests.pages.builders import NEW, OLD, a_crew, a_post, a_whole_crew, drawn
from tests.rules.test_on_plan import length_of, measured

SVG = "{http://www.w3.org/2000/svg}"
all_relays = pytest.mark.parametrize("relay", list(Relay))
posts = st.builds(
    a_post,
    st.integers(1, 10**6),
    st.integers(1, 3),
    st.sampled_from(Edge),
    st.sets(st.integers(1, 10), min_size=1).map(sorted),
    st.sampled_from(Side),
)


def beside(track: Track, at: tuple[float, float]) -> float:
    """How far a spot is from the line that joins the middles of the two bends."""
    half = track.straight_m / 2
    return hypot(max(abs(at[0]) - half, 0.0), at[1])


@all_relays
def test_every_lane_of_every_zone_is_drawn_where_the_track_has_it(relay: Relay) -> None:
    crew = a_crew(relay=relay)
    zones = {(zone.take_over, zone.lane): zone for zone in plan_track(crew).zones}
    assert set(zones) == {(one, lane) for one in (1, 2, 3) for lane in range(1, 9)}
    for (take_over, lane), drawn_zone in zones.items():
        place = zone_on_track(crew.track, relay, take_over, lane, crew.zones[take_over])
        for line, there in ((drawn_zone.start, place.start), (drawn_zone.end, place.end)):
            section, metres = measured(lane, line)
            assert metres == pytest.approx(there.metres, abs=0.005)
            assert section == there.section.value or there.metres < 0.005


@pytest.mark.parametrize(("edition", "long"), [(NEW, 30.0), (OLD, 20.0)])
def test_a_zone_on_the_straight_is_as_long_as_its_rule_says(edition: str, long: float) -> None:
    """World Athletics TR24.3; IAAF Rule 170.3 (2012). The ground is 1.22 m wide."""
    zone = next(one for one in plan_track(a_crew(edition=edition)).zones if one.lane == 8)
    assert zone.take_over == 1
    around = 2 * long + 2 * 1.22
    assert length_of(zone.area.removesuffix("Z")) == pytest.approx(around - 1.22, abs=0.2)


def test_an_acceleration_zone_lies_before_the_zone_where_the_edition_has_one() -> None:
    assert not any(zone.acceleration for zone in plan_track(a_crew()).zones)
    old = plan_track(a_crew(edition=OLD))
    assert all(zone.acceleration for zone in old.zones)
    zone = next(one for one in old.zones if (one.take_over, one.lane) == (3, 1))
    assert zone.acceleration.startswith(line_across(Track(), 1, _start_of(OLD) - 10).path[:12])


def _start_of(edition: str) -> float:
    crew = a_crew(edition=edition)
    return zone_on_track(crew.track, crew.relay, 3, 1, crew.zones[3]).start.past_finish_m


@all_relays
def test_every_post_stands_on_its_side_of_the_track_beside_its_edge(relay: Relay) -> None:
    crew = a_crew(relay=relay)
    plan = plan_track(crew)
    assert [mark.number for mark in plan.posts] == list(range(1, 19))
    inner, outer = edge_radius(crew.track, 0), edge_radius(crew.track, 8)
    for mark in plan.posts:
        away = beside(crew.track, (mark.at.x, mark.at.y))
        inside = mark.post.side is Side.INSIDE
        assert away < inner - MARK_M if inside else away > outer + MARK_M


@settings(max_examples=40, deadline=None)
@given(
    st.lists(posts, max_size=40, unique_by=lambda post: post.id),
    st.sampled_from(Relay),
    st.integers(1, 10),
)
def test_no_two_marks_stand_in_each_others_way(
    some: list[PostOut], relay: Relay, lanes: int
) -> None:
    plan = plan_track(a_crew(some, relay, track=Track(lanes=lanes)))
    marks = [(mark.at, MARK_M) for mark in plan.posts] + [(gap.at, SIGN_M) for gap in plan.gaps]
    assert len(plan.posts) == len(some)
    for (one, its), (other, others) in combinations(marks, 2):
        assert one.away_from(other) >= its + others + CLEAR_M - 1e-9
    box = plan.box
    for at, radius in marks:
        assert box.x <= at.x - radius <= at.x + radius <= box.x + box.width
        assert box.y <= at.y - radius <= at.y + radius <= box.y + box.height


def test_a_whole_crew_leaves_nothing_unwatched_and_no_crew_everything() -> None:
    assert plan_track(a_crew()).gaps == ()
    gaps = plan_track(a_crew([])).gaps
    assert [(gap.take_over, gap.edge, gap.lanes) for gap in gaps] == [
        (take_over, edge, (1, 2, 3, 4, 5, 6, 7, 8)) for take_over in (1, 2, 3) for edge in Edge
    ]
    assert all(gap.lines.count("M") == 8 for gap in gaps)


@settings(max_examples=60, deadline=None)
@given(st.lists(posts, max_size=12, unique_by=lambda post: post.id))
def test_each_edge_of_each_lane_is_watched_by_a_bar_or_marked_as_unwatched(
    some: list[PostOut],
) -> None:
    crew = a_crew(some, track=Track(lanes=8))
    for take_over in (1, 2, 3):
        plan = plan_zone(crew, take_over)
        for edge in Edge:
            watched = Counter(
                lane
                for bar in plan.bars
                if bar.post.edge is edge
                for top, bottom in bar.spans
                for lane in range(round(top / ROW) + 1, round(bottom / ROW) + 1)
            )
            missed = {lane for gap in plan.gaps if gap.edge is edge for lane in gap.lanes}
            assert set(watched) | missed == {row.lane for row in plan.rows}
            assert not set(watched) & missed
            for gap in plan.gaps:
                assert (gap.top, gap.bottom) == (
                    (gap.lanes[0] - 1) * ROW,
                    pytest.approx(gap.lanes[-1] * ROW),
                )


@settings(max_examples=60, deadline=None)
@given(st.lists(posts, max_size=12, unique_by=lambda post: post.id))
def test_no_bar_of_an_enlarged_zone_lies_on_another_and_no_mark_on_a_mark(
    some: list[PostOut],
) -> None:
    plan = plan_zone(a_crew(some), 2)
    for one, other in combinations(plan.bars, 2):
        assert one.at.away_from(other.at) >= 2 * MARK
        if one.x == other.x:
            mine, others = (_reach(bar.at.y, bar.spans) for bar in (one, other))
            assert mine[1] <= others[0] or others[1] <= mine[0]
    for bar in plan.bars:
        assert plan.left <= bar.at.x - MARK < bar.at.x + MARK <= plan.right


def _reach(mark: float, spans: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """From where to where a post takes its column: its mark, the line from it, its bars."""
    ends = [mark, *(end for span in spans for end in span)]
    return min(ends), max(ends)


def test_an_enlarged_zone_has_the_measures_of_its_rule_and_says_where_lanes_begin() -> None:
    new, old = plan_zone(a_crew(), 1), plan_zone(a_crew(edition=OLD), 1)
    assert (new.length_m, new.leg_line_m, new.acceleration_m) == (30, 20, 0)
    assert (old.length_m, old.leg_line_m, old.acceleration_m) == (20, 10, 10)
    assert new.ticks == (0, 5, 10, 15, 20, 25, 30)
    assert old.ticks == (-10, -5, 0, 5, 10, 15, 20)
    first, second = new.rows[:2]
    # tests/rules/published/takeover-4x100.csv: bend1:80.00 and bend1:87.04.
    assert (first.section, first.metres) == (Section.BEND_1, pytest.approx(80.00, abs=0.005))
    assert (second.section, second.metres) == (Section.BEND_1, pytest.approx(87.04, abs=0.005))


def test_posts_of_other_relays_are_not_drawn_and_numbers_are_the_same_on_all_pictures() -> None:
    crew = a_crew(
        [
            a_post(1, 1, relays=[Relay.FOUR_BY_400]),
            a_post(2, 1, relays=[Relay.FOUR_BY_100]),
            a_post(3, 2),
        ]
    )
    assert [(mark.number, mark.post.id) for mark in plan_track(crew).posts] == [
        (2, "post 2"),
        (3, "post 3"),
    ]
    assert [(bar.number, bar.post.id) for bar in plan_zone(crew, 2).bars] == [(3, "post 3")]


def test_zones_that_lie_at_one_place_have_one_label() -> None:
    labels = {
        relay: [label.take_overs for label in plan_track(a_crew(relay=relay)).labels]
        for relay in Relay
    }
    assert labels[Relay.FOUR_BY_100] == [(1,), (2,), (3,)]
    assert labels[Relay.FOUR_BY_400] == [(1, 2, 3)]
    assert labels[Relay.FOUR_BY_800] == [(1, 2, 3)]


def test_places_on_the_line_beyond_the_lanes_have_rows_of_their_own() -> None:
    """4x800 is started from a line with up to ten places (common practice)."""
    crew = a_crew([a_post(1, lanes=(9, 10))], Relay.FOUR_BY_800)
    plan = plan_zone(crew, 1)
    assert [row.lane for row in plan.rows] == list(range(1, 11))
    assert [row.section is None for row in plan.rows] == [False] * 8 + [True] * 2
    assert len(plan_track(crew).posts) == 1


def test_lanes_side_by_side_are_one_run() -> None:
    assert runs([4, 1, 2, 7, 2]) == [(1, 2), (4,), (7,)]
    assert runs([]) == []


@all_relays
def test_a_picture_is_named_and_has_no_words_but_those_it_is_given(relay: Relay) -> None:
    hostile = {"title": "<script>1</script>", "desc": "“A” & B", "finish": "Ziel"}
    pictures = drawn(a_crew(a_whole_crew()[:-3], relay), **hostile, inside="innen", outside="außen")
    seen = []
    for picture in pictures:
        root = fromstring(picture)
        seen.append(root.get("aria-labelledby"))
        assert root.get("role") == "img"
        title, desc = root[0], root[1]
        assert (title.tag, desc.tag) == (f"{SVG}title", f"{SVG}desc")
        assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
        assert (title.text, desc.text) == (hostile["title"], hostile["desc"])
        words = {"Ziel", "innen", "außen"}
        said = [one.text for one in root.iter(f"{SVG}text")]
        assert [one for one in said if one not in words and not re.fullmatch(r"[−\d·]+", one)] == []
    assert len(set(seen)) == len(seen) == 4


def test_no_picture_has_what_a_strict_policy_refuses() -> None:
    """CSP 3 without “unsafe-inline”: neither styles nor scripts nor handlers in the page."""
    for picture in drawn(a_crew(a_whole_crew()[:-3])):
        root = fromstring(picture)
        for element in root.iter():
            assert element.tag not in {f"{SVG}style", f"{SVG}script", f"{SVG}image", f"{SVG}a"}
            assert not [name for name in element.attrib if name == "style" or name[:2] == "on"]


def test_a_picture_shows_each_post_by_its_number() -> None:
    whole, *zones = drawn(a_crew())
    numbers = [one.text for one in fromstring(whole).iter(f"{SVG}text")]
    assert {str(number) for number in range(1, 19)} <= set(numbers)
    for place, zone in enumerate(zones):
        told = [
            text.text
            for group in fromstring(zone).iter(f"{SVG}g")
            if "plan-post " in f"{group.get('class')} "
            for text in group.iter(f"{SVG}text")
        ]
        assert told == [str(6 * place + number) for number in range(1, 7)]


def test_the_pictures_of_a_whole_crew_are_small() -> None:
    """They go over the wire with the page."""
    assert sum(len(picture.encode()) for picture in drawn(a_crew())) < 45_000

"""Staggers and zones against the tables in `published/`, within 0.005 m.

The tables' sources stand in `published/SOURCES.md`.
"""

from math import cos, hypot, pi, sin, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.book import Book, load_book
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.track import (
    Place,
    Section,
    Track,
    break_offset,
    in_lanes,
    lap_length,
    running_radius,
    stagger,
    zone_on_track,
)
from tests.rules.builders import NEW, OLD, all_books, rows

STANDARD = Track(lanes=10)
TOLERANCE = 0.005


def start_stagger(track: Track, lane: int, relay: Relay) -> float:
    """How much farther on a lane starts in a relay, in metres."""
    run = in_lanes(track, relay)
    return stagger(track, lane, run.bends) + (break_offset(track, lane) if run.then_break else 0.0)


def _past_finish(lane: int, written: str) -> float:
    """A place written as section and metres, as metres past the finish line."""
    section, metres = written.split(":")
    bend = pi * running_radius(STANDARD, lane)
    straight = STANDARD.straight_m
    begins = {"bend1": 0.0, "back": bend, "bend2": bend + straight, "home": 2 * bend + straight}
    return begins[section] + float(metres)


@pytest.mark.parametrize("row", rows("staggers.csv"), ids=lambda row: f"lane {row['lane']}")
def test_staggers_agree_with_the_published_table(row: dict[str, str]) -> None:
    lane = int(row["lane"])
    computed = {
        "s200": stagger(STANDARD, lane, 1),
        "s400": start_stagger(STANDARD, lane, Relay.FOUR_BY_100),
        "s800": start_stagger(STANDARD, lane, Relay.FOUR_BY_800),
        "s4x400": start_stagger(STANDARD, lane, Relay.FOUR_BY_400),
    }
    for name, metres in computed.items():
        assert metres == pytest.approx(float(row[f"{name}_mm_table"]), abs=TOLERANCE)
        assert metres == pytest.approx(float(row[f"{name}_exact"]), abs=0.0001)
    offset = break_offset(STANDARD, lane)
    assert offset == pytest.approx(float(row["break_offset_exact"]), abs=0.0001)


@pytest.mark.parametrize(
    ("lane", "lap"),
    list(
        enumerate(
            (400.000, 407.037, 414.703, 422.368, 430.034, 437.699, 445.365, 453.030, 460.696), 1
        )
    ),
)
def test_laps_are_as_long_as_a_public_list_of_lane_lengths_says(lane: int, lap: float) -> None:
    # running forum thread on a kerbed nine-lane track with lanes of 1.22 m; lane 1 taken as 400 m
    assert lap_length(STANDARD, lane) == pytest.approx(lap + 0.001, abs=0.001)


@pytest.mark.parametrize(
    ("lane", "medley"), [(2, 7.0446), (5, 30.1680), (8, 53.4472), (9, 61.2413)]
)
def test_the_medley_starts_two_bends_and_a_crossing_farther_on(lane: int, medley: float) -> None:
    # computed from r(n) = 36.50 + 1.22 (n - 1) + 0.20 m and the exact crossing
    assert start_stagger(STANDARD, lane, Relay.MEDLEY) == pytest.approx(medley, abs=0.0001)


def test_wrong_staggers_seen_on_the_web_do_not_come_out() -> None:
    # 2 pi 1.22 m a lane from lane 2 on forgets that lane 1 is measured 0.30 m out, not 0.20 m
    for lane, wrong in ((2, 7.67), (3, 15.33), (8, 53.66)):
        assert abs(stagger(STANDARD, lane, 2) - wrong) > 0.5


@pytest.mark.parametrize(
    "row", rows("takeover-4x100.csv"), ids=lambda row: f"{row['lane']}-{row['takeover']}"
)
def test_the_zones_of_a_4x100_lie_where_the_table_has_them(row: dict[str, str]) -> None:
    lane, take_over = int(row["lane"]), int(row["takeover"])
    rule = load_book(NEW).zone(Relay.FOUR_BY_100, take_over)
    zone = zone_on_track(STANDARD, Relay.FOUR_BY_100, take_over, lane, rule)
    for place, column in (
        (zone.start, "zone_start"),
        (zone.leg_line, "leg_line"),
        (zone.end, "zone_end"),
    ):
        written = _past_finish(lane, row[column])
        assert place.past_finish_m == pytest.approx(written, abs=TOLERANCE + 0.001)
        assert _past_finish(lane, f"{place.section}:{place.metres}") == pytest.approx(
            place.past_finish_m
        )


@pytest.mark.parametrize(
    "row", rows("takeover-4x400-first.csv"), ids=lambda row: f"lane {row['lane']}"
)
def test_the_first_zone_of_a_4x400_lies_about_the_800_m_start(row: dict[str, str]) -> None:
    lane = int(row["lane"])
    rule = load_book(NEW).zone(Relay.FOUR_BY_400, 1)
    zone = zone_on_track(STANDARD, Relay.FOUR_BY_400, 1, lane, rule)
    written = [
        float(row[f"{name}_m_past_finish"]) for name in ("zone_start", "leg_line", "zone_end")
    ]
    computed = [zone.start.past_finish_m, zone.leg_line.past_finish_m, zone.end.past_finish_m]
    assert computed == pytest.approx(written, abs=TOLERANCE)


@pytest.mark.parametrize("lane", range(1, 11))
def test_later_zones_out_of_lanes_lie_about_the_finish_line(lane: int) -> None:
    # Swiss federation data sheet 2016, item d
    for relay, take_overs in (
        (Relay.FOUR_BY_400, (2, 3)),
        (Relay.FOUR_BY_800, TAKE_OVERS),
        (Relay.MEDLEY, (3,)),
    ):
        for take_over in take_overs:
            rule = load_book(NEW).zone(relay, take_over)
            zone = zone_on_track(STANDARD, relay, take_over, lane, rule)
            assert zone.start.past_finish_m == pytest.approx(-10, abs=TOLERANCE)
            assert zone.end.past_finish_m == pytest.approx(10, abs=TOLERANCE)
            assert (zone.start.section, zone.end.section) == (Section.HOME, Section.BEND_1)


@pytest.mark.parametrize("lane", range(1, 11))
def test_the_third_leg_line_lies_a_hundred_metres_before_the_finish(lane: int) -> None:
    # 15.61 m before the end of the second bend in every lane: 15.61 + 84.39 = 100
    rule = load_book(NEW).zone(Relay.FOUR_BY_100, 3)
    leg_line = zone_on_track(STANDARD, Relay.FOUR_BY_100, 3, lane, rule).leg_line
    to_bend_end = pi * running_radius(STANDARD, lane) - leg_line.metres
    assert leg_line.section is Section.BEND_2
    assert to_bend_end == pytest.approx(15.61, abs=TOLERANCE)


@pytest.mark.parametrize(("lane", "s800"), [(2, 3.526), (5, 15.151), (8, 26.933)])
def test_the_second_zone_of_a_medley_follows_the_800_m_start(lane: int, s800: float) -> None:
    # 300 m run from the 200 m start, one laned bend and the crossing still to come: 100 m past the
    # finish and the 800 m stagger of the Facilities Manual's table farther on
    rule = load_book(NEW).zone(Relay.MEDLEY, 2)
    leg_line = zone_on_track(STANDARD, Relay.MEDLEY, 2, lane, rule).leg_line
    assert leg_line.past_finish_m == pytest.approx(100 + s800, abs=TOLERANCE)


@pytest.mark.parametrize("lane", range(1, 10))
def test_legs_are_as_long_as_their_names_say_from_start_to_leg_line(lane: int) -> None:
    first = load_book(NEW).zone(Relay.FOUR_BY_100, 1)
    for relay, metres in ((Relay.FOUR_BY_100, 100), (Relay.FOUR_BY_200, 200)):
        leg_line = zone_on_track(STANDARD, relay, 1, lane, first).leg_line.past_finish_m
        run = leg_line - start_stagger(STANDARD, lane, relay)
        assert run == pytest.approx(metres, abs=TOLERANCE)
    medley = zone_on_track(STANDARD, Relay.MEDLEY, 1, lane, first).leg_line.past_finish_m
    half_lap = lap_length(STANDARD, lane) / 2  # the start of the 200 m
    run = medley - half_lap - start_stagger(STANDARD, lane, Relay.MEDLEY)
    assert run == pytest.approx(100, abs=TOLERANCE)


def test_the_old_acceleration_zone_begins_where_the_new_zone_does() -> None:
    # German federation notice of 19 Sep 2017: leg line unchanged
    new = load_book(NEW).zone(Relay.FOUR_BY_100, 2)
    old = load_book(OLD).zone(Relay.FOUR_BY_100, 2)
    for lane in range(1, 11):
        ours = zone_on_track(STANDARD, Relay.FOUR_BY_100, 2, lane, new)
        theirs = zone_on_track(STANDARD, Relay.FOUR_BY_100, 2, lane, old)
        assert theirs.acceleration_start == ours.start
        assert theirs.end == ours.end
        assert ours.acceleration_start is None


tracks = st.builds(
    lambda radius, width, kerb, lanes: Track(
        radius, 200 - pi * (radius + (0.3 if kerb else 0.2)), width, lanes, kerb
    ),
    radius=st.floats(30, 45),
    width=st.floats(1.0, 1.4),
    kerb=st.booleans(),
    lanes=st.integers(1, 10),
)


@given(tracks)
@settings(max_examples=60, deadline=None)
def test_the_crossing_makes_every_lane_as_long_as_lane_one(track: Track) -> None:
    # By coordinates about the centre of the next bend: lane 1 goes along its straight and its arc
    # as far as the tangent is long; the tangent laid back from there must meet the break point.
    inner = running_radius(track, 1)
    for lane in range(2, track.lanes + 1):
        along = track.straight_m - break_offset(track, lane)
        outer = running_radius(track, lane)
        length = sqrt(hypot(along, outer) ** 2 - inner**2)
        turned = (length - track.straight_m) / inner
        met_x = inner * sin(turned) - length * cos(turned)
        met_y = inner * cos(turned) + length * sin(turned)
        assert (met_x, met_y) == pytest.approx((-along, outer), abs=1e-6)


@given(tracks, st.sampled_from(all_books()), st.sampled_from(Relay), st.sampled_from(TAKE_OVERS))
@settings(max_examples=80, deadline=None)
def test_a_zone_is_as_long_on_the_track_as_in_the_book(
    track: Track, book: Book, relay: Relay, take_over: int
) -> None:
    rule = book.zone(relay, take_over)
    for lane in range(1, track.lanes + 1):
        zone = zone_on_track(track, relay, take_over, lane, rule)
        length = zone.end.past_finish_m - zone.start.past_finish_m
        assert length == pytest.approx(rule.length_m)
        for place in (zone.start, zone.leg_line, zone.end):
            assert _lies_in_its_section(track, lane, place)


def _lies_in_its_section(track: Track, lane: int, place: Place) -> bool:
    bends = (Section.BEND_1, Section.BEND_2)
    bend = pi * running_radius(track, lane)
    length = bend if place.section in bends else track.straight_m
    return 0 <= place.metres <= length + 1e-9  # the sum of the sections is rounded


def test_without_a_kerb_lane_one_is_measured_like_the_others() -> None:
    # World Athletics facilities practice: 0.20 m outside a line, 0.30 m outside a kerb
    track = Track(radius_m=36.60, kerb=False)
    assert running_radius(track, 1) == pytest.approx(36.80)
    assert stagger(track, 2, 1) == pytest.approx(pi * 1.22)


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ({"radius_m": 0.0}, "more than 0 m"),
        ({"straight_m": -84.39}, "more than 0 m"),
        ({"radius_m": float("nan")}, "more than 0 m"),
        ({"straight_m": float("inf")}, "more than 0 m"),
        ({"radius_m": 1e-9, "straight_m": 199.9999}, "no bend of less than 5 m"),
        ({"radius_m": 63.3, "straight_m": 0.01}, "no shorter straight"),
        ({"lane_width_m": 12.2}, "0.90 to 1.50 m wide"),
        ({"lanes": 0}, "1 to 10 lanes"),
        ({"lanes": 11}, "1 to 10 lanes"),
        ({"radius_m": 1e300}, "Give them in metres"),
        ({"radius_m": 17.2}, "no 400 m track"),
        ({"straight_m": 100.0}, "no 400 m track"),
    ],
)
def test_an_absurd_track_is_refused_with_a_sentence(facts: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Track(**facts)  # type: ignore[arg-type]


@pytest.mark.parametrize("lane", [0, 9])
def test_a_lane_that_the_track_lacks_is_refused(lane: int) -> None:
    with pytest.raises(ValueError, match="lanes 1 to 8"):
        running_radius(Track(), lane)


def test_a_take_over_or_bends_that_do_not_exist_are_refused() -> None:
    rule = load_book(NEW).zone(Relay.FOUR_BY_100, 1)
    with pytest.raises(ValueError, match="no take-over 4"):
        zone_on_track(STANDARD, Relay.FOUR_BY_100, 4, 1, rule)
    with pytest.raises(ValueError, match="no bends"):
        stagger(STANDARD, 2, -1)

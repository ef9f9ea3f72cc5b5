"""The plan is the track: its straights, bends and zones measure on it what the tables say.

The tables' sources stand in `published/SOURCES.md`. What is measured is read back from the path
data, by the formulas of SVG's own implementation notes, and not by those that wrote it.
"""

from __future__ import annotations

import re
from math import acos, atan2, cos, hypot, pi, sin, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.book import load_book
from app.rules.on_plan import (
    Spot,
    area_along,
    edge_radius,
    line_across,
    loop,
    spot_at,
    way_along,
)
from app.rules.relay import Relay
from app.rules.track import Section, Track, lap_length, running_radius, zone_on_track
from tests.rules.builders import NEW, rows

STANDARD = Track(lanes=10)
TOLERANCE = 0.005
HALF = 84.39 / 2  # handbook of the trade, section 8: the straights of the standard track
PIECE = re.compile(r"([MLA])([^MLAZ]*)|Z")
tracks = st.builds(
    lambda radius, lanes: Track(radius, (400 - 2 * pi * (radius + 0.3)) / 2, lanes=lanes),
    st.floats(34, 39),
    st.integers(1, 10),
)


def pieces_of(path: str) -> list[tuple[str, tuple[float, float], list[float]]]:
    """Path data as letter, where it begins, and its numbers."""
    found, here = [], (0.0, 0.0)
    for letter, numbers in PIECE.findall(path):
        if letter:
            values = [float(one) for one in numbers.split()]
            found.append((letter, here, values))
            here = (values[-2], values[-1])
    return found


def length_of(path: str) -> float:
    """How long a path is."""
    return sum(_measure(*one) for one in pieces_of(path))


def _measure(letter: str, here: tuple[float, float], values: list[float]) -> float:
    if letter == "M":
        return 0.0
    if letter == "L":
        return hypot(values[0] - here[0], values[1] - here[1])
    radius, _, _, large, _sweep, x, y = values
    assert not large
    if (x, y) == here:  # such an arc is left out (SVG 2, implementation notes, B.2.5)
        return 0.0
    cx, cy = centre_of(here, values)
    one = ((here[0] - cx) / radius, (here[1] - cy) / radius)
    other = ((x - cx) / radius, (y - cy) / radius)
    cosine = max(-1.0, min(1.0, one[0] * other[0] + one[1] * other[1]))
    return radius * acos(cosine)


def centre_of(here: tuple[float, float], values: list[float]) -> tuple[float, float]:
    """The middle of an arc (SVG 2, implementation notes, B.2.4)."""
    radius, _, _, large, sweep, x, y = values
    dx, dy = (here[0] - x) / 2, (here[1] - y) / 2
    apart = dx * dx + dy * dy
    factor = sqrt(max(0.0, (radius * radius - apart) / apart))
    sign = -1.0 if large == sweep else 1.0
    return (
        sign * factor * dy + (here[0] + x) / 2,
        -sign * factor * dx + (here[1] + y) / 2,
    )


def measured(lane: int, line: str) -> tuple[str, float]:
    """Where the line across a lane meets its measuring line: in which section, how many metres."""
    ((_, _, inner), (_, _, outer)) = pieces_of(line)
    share = (running_radius(STANDARD, lane) - edge_radius(STANDARD, lane - 1)) / 1.22
    x, y = (inner[i] + share * (outer[i] - inner[i]) for i in (0, 1))
    radius = 36.80 if lane == 1 else 36.50 + 1.22 * (lane - 1) + 0.20  # handbook, section 8
    if x > HALF:
        return "bend1", atan2(x - HALF, y) * radius
    if x < -HALF:
        return "bend2", atan2(-HALF - x, -y) * radius
    return ("home", x + HALF) if y > 0 else ("back", HALF - x)


def along(lane: int, section: str, metres: float) -> float:
    """A place as metres past the finish line: where a section ends, the next begins."""
    bend = pi * running_radius(STANDARD, lane)
    begins = {"bend1": 0.0, "back": bend, "bend2": bend + 84.39, "home": 2 * bend + 84.39}
    return begins[section] + metres


@pytest.mark.parametrize(
    "row", rows("takeover-4x100.csv"), ids=lambda row: f"lane {row['lane']} no {row['takeover']}"
)
def test_zones_of_4x100_lie_on_the_plan_where_the_table_has_them(row: dict[str, str]) -> None:
    lane, take_over = int(row["lane"]), int(row["takeover"])
    rule = load_book(NEW).zone(Relay.FOUR_BY_100, take_over)
    zone = zone_on_track(STANDARD, Relay.FOUR_BY_100, take_over, lane, rule)
    for name, place in (
        ("zone_start", zone.start),
        ("leg_line", zone.leg_line),
        ("zone_end", zone.end),
    ):  # the table has whole centimetres, as `test_track` allows for
        line = line_across(STANDARD, lane, place.past_finish_m).path
        section, metres = row[name].split(":")
        found = along(lane, *measured(lane, line))
        assert found == pytest.approx(place.past_finish_m, abs=0.001), name
        assert found == pytest.approx(along(lane, section, float(metres)), abs=TOLERANCE + 0.001), (
            name
        )


@pytest.mark.parametrize(
    "row", rows("takeover-4x400-first.csv"), ids=lambda row: f"lane {row['lane']}"
)
def test_the_first_zone_of_4x400_lies_on_the_plan_where_the_table_has_it(
    row: dict[str, str],
) -> None:
    lane = int(row["lane"])
    rule = load_book(NEW).zone(Relay.FOUR_BY_400, 1)
    zone = zone_on_track(STANDARD, Relay.FOUR_BY_400, 1, lane, rule)
    for name, place in (("zone_start", zone.start), ("zone_end", zone.end)):
        line = line_across(STANDARD, lane, place.past_finish_m).path
        found = along(lane, *measured(lane, line))
        wanted = float(row[f"{name}_m_past_finish"]) % lap_length(STANDARD, lane)
        assert found == pytest.approx(wanted, abs=TOLERANCE), name


def test_lines_between_lanes_are_as_long_as_two_straights_and_a_circle() -> None:
    for edge in range(STANDARD.lanes + 1):
        path = loop(STANDARD, edge_radius(STANDARD, edge)).path
        circle = 2 * pi * (36.50 + 1.22 * edge)
        assert length_of(path) == pytest.approx(2 * 84.39 + circle, abs=TOLERANCE)
        straights = [one for one in pieces_of(path) if one[0] == "L"]
        assert [_measure(*one) for one in straights] == [pytest.approx(84.39, abs=TOLERANCE)] * 2


@pytest.mark.parametrize("lane", range(1, 11))
def test_a_lap_along_the_measuring_line_is_the_lanes_lap(lane: int) -> None:
    lap = lap_length(STANDARD, lane)
    way = way_along(STANDARD, lane, 0.0, lap, running_radius(STANDARD, lane))
    assert way.length == pytest.approx(lap, abs=TOLERANCE)
    assert length_of(way.path) == pytest.approx(lap, abs=TOLERANCE)


@given(tracks, st.data())
def test_a_stretch_of_a_lane_is_as_long_on_the_plan_as_on_the_track(
    track: Track, data: st.DataObject
) -> None:
    lane = data.draw(st.integers(1, track.lanes))
    first = data.draw(st.floats(-60, 460))
    length = data.draw(st.floats(0.5, 60))
    radius = running_radius(track, lane)
    there = way_along(track, lane, first, first + length, radius)
    back = way_along(track, lane, first + length, first, radius)
    for way in (there, back):
        assert way.length == pytest.approx(length, abs=1e-6)
        assert length_of(way.path) == pytest.approx(length, abs=TOLERANCE)
    assert there.start.away_from(back.pieces[-1].to) < 1e-6
    assert back.start.away_from(there.pieces[-1].to) < 1e-6


@given(tracks, st.floats(-60, 460), st.data())
def test_bows_turn_about_the_ends_of_the_straights(
    track: Track, first: float, data: st.DataObject
) -> None:
    """Else a bend would bulge inwards, though its length were right."""
    lane = data.draw(st.integers(1, track.lanes))
    for last in (first + 200, first - 200):
        path = way_along(track, lane, first, last, running_radius(track, lane)).path
        for letter, here, values in pieces_of(path):
            if letter == "A" and hypot(values[5] - here[0], values[6] - here[1]) > 1:
                cx, cy = centre_of(here, values)
                assert abs(cx) == pytest.approx(track.straight_m / 2, abs=0.02)
                assert cy == pytest.approx(0.0, abs=0.02)


def test_the_ground_of_a_zone_is_closed_and_as_wide_as_its_lane() -> None:
    area = area_along(STANDARD, 4, 80.0, 110.0)
    assert area.path.endswith("Z")
    assert area.start.away_from(area.pieces[-1].to) == pytest.approx(1.22)
    crossing = next(piece for piece in area.pieces if not piece.radius)
    assert crossing.to.away_from(spot_at(STANDARD, 4, 110.0, edge_radius(STANDARD, 4))) < 1e-9


@pytest.mark.parametrize(
    ("past_finish", "section", "x", "y"),
    [
        (0.0, Section.BEND_1, HALF, 36.8),
        (pi * 36.8 / 2, Section.BEND_1, HALF + 36.8, 0.0),
        (pi * 36.8, Section.BACK, HALF, -36.8),
        (pi * 36.8 + 84.39, Section.BEND_2, -HALF, -36.8),
        (pi * 36.8 * 1.5 + 84.39, Section.BEND_2, -HALF - 36.8, 0.0),
        (2 * pi * 36.8 + 84.39, Section.HOME, -HALF, 36.8),
        (-10.0, Section.HOME, HALF - 10, 36.8),
    ],
)
def test_the_home_straight_lies_below_and_is_run_from_left_to_right(
    past_finish: float, section: Section, x: float, y: float
) -> None:
    """Common practice: a plan of a track has its home straight below, or above and turned over."""
    spot = spot_at(STANDARD, 1, past_finish, 36.8)
    assert (spot.x, spot.y) == (pytest.approx(x, abs=1e-6), pytest.approx(y, abs=1e-6))


@given(tracks, st.floats(-60, 460))
def test_all_lanes_of_one_ray_lie_on_it(track: Track, past_finish: float) -> None:
    inner, outer = (spot_at(track, 1, past_finish, edge_radius(track, edge)) for edge in (0, 1))
    assert inner.away_from(outer) == pytest.approx(track.lane_width_m)
    end = Spot(track.straight_m / 2 * (1 if inner.x > 0 else -1), 0.0)
    if abs(inner.x) > track.straight_m / 2:
        turned = atan2(inner.x - end.x, inner.y)
        further = Spot(end.x + 50 * sin(turned), 50 * cos(turned))
        assert outer.away_from(further) == pytest.approx(
            50 - hypot(outer.x - end.x, outer.y), abs=1e-6
        )


def test_the_same_radius_is_an_edge_of_two_lanes() -> None:
    assert edge_radius(STANDARD, 0) == 36.50
    assert edge_radius(STANDARD, 3) == pytest.approx(36.50 + 3 * 1.22)

"""Lines lie where walking the lanes with a general-purpose integrator finds them, and what two
people tape is judged by how far along its lane a line is off.

The geometry is held against SciPy (numerical integration along the curve, root finding): within
1 mm. The tables in `published/` are held against by `test_track.py`.
"""

from __future__ import annotations

from itertools import pairwise
from math import cos, hypot, pi, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from app.rules.book import load_book
from app.rules.book_parts import ZoneRule
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.survey import (
    LineTarget,
    Mark,
    Measured,
    Verdict,
    ZoneLine,
    survey,
    tape_radius,
    zone_targets,
)
from app.rules.track import Track, in_lanes, is_run_on, running_radius
from tests.rules.builders import NEW, OLD

MILLIMETRE = 0.001
BOOK = load_book(NEW)


def a_track(radius: float, width: float, lanes: int, *, kerb: bool, bends: int, lap: int) -> Track:
    """A track whose lap in lane 1 is as long as it is called."""
    return Track(
        radius, lap / 2 - pi * (radius + (0.3 if kerb else 0.2)), width, lanes, kerb, bends
    )


tracks = st.builds(
    a_track,
    radius=st.floats(33, 40),
    width=st.floats(1.0, 1.3),
    lanes=st.integers(1, 10),
    kerb=st.booleans(),
    bends=st.sampled_from((4, 3, 1)),
    lap=st.just(400),
)
ovals = st.builds(
    a_track,
    radius=st.floats(15, 20),
    width=st.floats(0.9, 1.1),
    lanes=st.integers(1, 8),
    kerb=st.booleans(),
    bends=st.just(4),
    lap=st.just(200),
)


class Curve:
    """A lap at a radius as a curve, from the finish line; its parameter counts the four parts."""

    def __init__(self, track: Track, radius: float) -> None:
        self.half, self.radius = track.straight_m / 2, radius

    def point(self, at: float) -> tuple[float, float]:
        part, share = divmod(at % 4, 1)
        turned = share * pi
        if part == 0:
            return self.half + self.radius * sin(turned), self.radius * cos(turned)
        if part == 1:
            return self.half - share * 2 * self.half, -self.radius
        if part == 2:
            return -self.half - self.radius * sin(turned), -self.radius * cos(turned)
        return -self.half + share * 2 * self.half, self.radius

    def speed(self, at: float, step: float = 1e-6) -> float:
        """How long the curve is for each step of its parameter: by differences, not by formula."""
        part = at % 1
        low, high = (at, at + step) if part < 0.5 else (at - step, at)
        (x, y), (x2, y2) = self.point(low), self.point(high)
        return hypot(x2 - x, y2 - y) / step

    def length(self, first: float, last: float) -> float:
        """Its length by numerical integration, part by part."""
        stops = [first, *(n for n in range(int(first) + 1, int(last) + 1) if n < last), last]
        inwards = 1e-9
        return sum(quad(self.speed, a + inwards, b - inwards)[0] for a, b in pairwise(stops))

    def at_length(self, metres: float) -> float:
        """The parameter that so many metres past the finish line lie at."""
        lap = self.length(0, 4)
        return brentq(lambda at: self.length(0, at) - metres % lap, 0, 4, xtol=1e-10)


def targets_of(
    track: Track, relay: Relay, take_over: int, rule: ZoneRule | None = None
) -> dict[tuple[int, ZoneLine], LineTarget]:
    found = zone_targets(track, relay, take_over, rule or BOOK.zone(relay, take_over))
    return {(one.lane, one.line): one for one in found}


def place_on(track: Track, target: LineTarget, radius: float) -> tuple[float, float]:
    """Where a line meets a radius: walked along the measuring line, then across on its ray."""
    walked = Curve(track, running_radius(track, target.lane))
    return Curve(track, radius).point(walked.at_length(target.place.past_finish_m))


def mark_on(track: Track, mark: Mark, radius: float) -> tuple[float, float]:
    where = {
        Mark.FINISH: 0.0,
        Mark.FIRST_BEND_END: 1.0,
        Mark.SECOND_BEND_START: 2.0,
        Mark.SECOND_BEND_END: 3.0,
    }
    return Curve(track, radius).point(where[mark] + 1e-12)


TRACKS = {
    "standard": Track(lanes=10),
    "three bends": Track(lanes=10, four_by_200_bends=3),
    "one bend": Track(lanes=10, four_by_200_bends=1),
    "wide bends": a_track(40.0, 1.25, 8, kerb=False, bends=3, lap=400),
    "narrow bends": a_track(33.0, 1.1, 9, kerb=True, bends=4, lap=400),
    "oval": a_track(17.2, 1.0, 6, kerb=True, bends=4, lap=200),
    "oval without a kerb": a_track(15.5, 0.9, 4, kerb=False, bends=4, lap=200),
}


@pytest.mark.parametrize("relay", Relay)
@pytest.mark.parametrize("name", TRACKS)
def test_every_tape_is_as_long_as_walking_the_lanes_by_integration_finds_it(
    relay: Relay, name: str
) -> None:
    track = TRACKS[name]
    if not is_run_on(track, relay):
        return
    for take_over in TAKE_OVERS:
        targets = targets_of(track, relay, take_over)
        for (lane, line), target in targets.items():
            radius = tape_radius(track, lane)
            here = place_on(track, target, radius)
            for tape in target.tapes:
                if tape.mark is Mark.LANE_INSIDE:
                    there = place_on(track, targets[lane - 1, line], radius)
                else:
                    there = mark_on(track, tape.mark, radius)
                away = hypot(here[0] - there[0], here[1] - there[1])
                assert abs(tape.metres) == pytest.approx(away, abs=MILLIMETRE), (lane, line, tape)


def run_from(track: Track, lane: int, target: LineTarget, exits: int) -> float:
    """How far a team runs from a leg line in its lane to the finish line of the lap of the break.

    Along its lane to the break line, straight to where that touches lane 1's next bend, and on in
    lane 1. The break line lies where from then on no lane runs farther than lane 1 does from the
    end of the bend. `exits` counts the bends up to there, the one that is being run among them.
    """
    own, inner = (Curve(track, running_radius(track, one)) for one in (lane, 1))
    here = own.at_length(target.place.past_finish_m)
    leaves = here // 2 * 2 + 1 + 2 * (exits - 1)
    finish = leaves // 4 * 4 + 4
    in_lane_1 = inner.length(leaves, finish)

    def rest(past_bend: float) -> float:
        x, y = own.point(leaves + past_bend / track.straight_m)
        met = tangent(inner, (x, y), leaves + 1)
        mx, my = inner.point(met)
        return hypot(mx - x, my - y) + inner.length(met, finish)

    past_bend = 0.0
    if lane > 1:
        past_bend = brentq(lambda one: rest(one) - in_lane_1, -1, 5, xtol=1e-9)
    return own.length(here, leaves) + past_bend + in_lane_1


def tangent(inner: Curve, outside: tuple[float, float], begins: float) -> float:
    """Where a line from outside touches a bend."""
    cx = -inner.half if begins % 4 == 2 else inner.half

    def gap(at: float) -> float:
        """The line to this point keeps away from the bend's middle: most where it touches."""
        (x, y), (px, py) = outside, inner.point(at)
        dx, dy = px - x, py - y
        off = abs(dx * (0 - y) - dy * (cx - x)) / hypot(dx, dy)
        return -off

    return minimize_scalar(
        gap, bounds=(begins + 1e-9, begins + 0.3), method="bounded", options={"xatol": 1e-10}
    ).x


IN_LANES = [
    *((Relay.FOUR_BY_400, 4, 1), (Relay.MEDLEY, 4, 1), (Relay.MEDLEY, 4, 2)),
    *((Relay.FOUR_BY_200, 3, 1), (Relay.FOUR_BY_200, 3, 2)),
]
OF_400 = [(36.5, 1.22, True), (40.0, 1.25, False), (33.0, 1.1, True)]
RUNS = [
    *((400, *shape, *run) for shape in OF_400 for run in IN_LANES),
    *((200, *shape, Relay.FOUR_BY_200, 4, 1) for shape in [(17.2, 1.0, True), (15.5, 0.9, False)]),
]


@pytest.mark.parametrize(("lap_m", "radius", "width", "kerb", "relay", "bends", "take_over"), RUNS)
def test_what_is_left_to_run_from_a_leg_line_is_what_the_legs_say_in_every_lane(
    lap_m: int, radius: float, width: float, kerb: bool, relay: Relay, bends: int, take_over: int
) -> None:
    # The standard track's lap has 1.2 mm more than 400 m, which is nobody's to run.
    lanes = 10 if lap_m == 400 else 6
    track = a_track(radius, width, lanes, kerb=kerb, bends=bends, lap=lap_m)
    targets = targets_of(track, relay, take_over)
    left = sum(relay.legs[take_over:])
    lap = Curve(track, running_radius(track, 1)).length(0, 4)
    ahead = {(Relay.MEDLEY, 1): 2, (Relay.FOUR_BY_200, 1): 2}.get((relay, take_over), 1)
    if lap_m == 200:
        ahead = 1
    for lane in range(1, track.lanes + 1):
        run = run_from(track, lane, targets[lane, ZoneLine.LEG_LINE], ahead)
        whole_laps = round((left - run) / lap)
        assert run + whole_laps * lap == pytest.approx(left, abs=MILLIMETRE), lane


@pytest.mark.parametrize(
    ("relay", "bends", "take_over"),
    [(Relay.FOUR_BY_200, 4, number) for number in TAKE_OVERS]
    + [(Relay.FOUR_BY_100, 4, number) for number in TAKE_OVERS],
)
def test_in_lanes_to_the_finish_each_lane_has_its_legs_left_by_integration(
    relay: Relay, bends: int, take_over: int
) -> None:
    track = Track(lanes=10, four_by_200_bends=bends)
    for lane in range(1, track.lanes + 1):
        leg_line = targets_of(track, relay, take_over)[lane, ZoneLine.LEG_LINE]
        own = Curve(track, running_radius(track, lane))
        to_line = own.length(own.at_length(leg_line.place.past_finish_m), 4)
        laps = round((sum(relay.legs[take_over:]) - to_line) / own.length(0, 4))
        left = to_line + laps * own.length(0, 4)
        assert left == pytest.approx(sum(relay.legs[take_over:]), abs=MILLIMETRE)


@pytest.mark.parametrize(("bends", "in_own_lanes"), [(4, 3), (3, 2), (1, 0)])
def test_a_4x200_is_run_in_lanes_as_far_as_the_meet_says(bends: int, in_own_lanes: int) -> None:
    track = Track(four_by_200_bends=bends)
    assert in_lanes(track, Relay.FOUR_BY_200).take_overs == in_own_lanes
    for take_over in TAKE_OVERS:
        targets = targets_of(track, Relay.FOUR_BY_200, take_over)
        gaps = [
            abs(targets[lane, ZoneLine.LEG_LINE].tape_from(Mark.LANE_INSIDE).metres)  # type: ignore[union-attr]
            for lane in range(2, 9)
        ]
        # Once nobody runs in lanes any more, a leg line is one line straight across the track.
        assert all(gap > 1.0 for gap in gaps) == (take_over <= in_own_lanes)
        assert all(gap < MILLIMETRE for gap in gaps) == (take_over > in_own_lanes)


@given(tracks | ovals, st.sampled_from(Relay), st.sampled_from(TAKE_OVERS), st.booleans())
@settings(max_examples=150, deadline=None)
def test_on_any_track_each_line_has_a_tape_that_shows_it_and_lies_in_its_part_of_the_lap(
    track: Track, relay: Relay, take_over: int, old: bool
) -> None:
    book = load_book(OLD) if old else BOOK
    if not is_run_on(track, relay):
        with pytest.raises(ValueError, match="oval"):
            targets_of(track, relay, take_over)
        return
    for target in targets_of(track, relay, take_over, book.zone(relay, take_over)).values():
        fixed = [tape for tape in target.tapes if tape.mark is not Mark.LANE_INSIDE]
        assert fixed
        assert fixed[0].metres == min(tape.metres for tape in fixed)
        assert all(tape.metres >= -MILLIMETRE for tape in fixed)
        assert target.to_section_end_m >= -MILLIMETRE
        assert (target.lane > 1) == any(one.mark is Mark.LANE_INSIDE for one in target.tapes)


@given(
    tracks | ovals,
    st.sampled_from((Relay.FOUR_BY_200, Relay.FOUR_BY_400)),
    st.sampled_from(TAKE_OVERS),
    st.data(),
)
@settings(max_examples=100, deadline=None)
def test_a_line_that_was_painted_off_is_found_off_by_as_much(
    track: Track, relay: Relay, take_over: int, data: st.DataObject
) -> None:
    targets = targets_of(track, relay, take_over)
    target = data.draw(st.sampled_from(list(targets.values())))
    off = data.draw(st.floats(-0.4, 0.4))
    tape = data.draw(st.sampled_from(target.tapes))
    radius = tape_radius(track, target.lane)
    painted = walked_on(track, target, off, radius)
    measured = {}
    if tape.mark is Mark.LANE_INSIDE:
        inside = targets[target.lane - 1, target.line]
        moved = data.draw(st.floats(-0.4, 0.4))
        there = walked_on(track, inside, moved, radius)
        best = inside.tapes[0]
        measured[inside.lane, inside.line] = Measured(
            best.mark, shown(track, inside, best.mark, moved, back=best.back)
        )
        metres = hypot(painted[0] - there[0], painted[1] - there[1])
        # Two lines that are moved by as much along their lanes do not stay abreast on a bend.
        further = walked_on(track, inside, moved + MILLIMETRE, radius)
        ahead = sum((p - t) * (f - t) for p, t, f in zip(painted, there, further, strict=True))
        metres = metres if ahead >= 0 else -metres
    else:
        metres = shown(track, target, tape.mark, off, back=tape.back)
    measured[target.lane, target.line] = Measured(tape.mark, metres)
    *_, found = survey(track, tuple(targets.values()), measured, 0.1).found.values()
    assert found.target == target
    assert found.off_m == pytest.approx(off, abs=MILLIMETRE / 2)


def walked_on(track: Track, target: LineTarget, off: float, radius: float) -> tuple[float, float]:
    walked = Curve(track, running_radius(track, target.lane))
    at = walked.at_length(target.place.past_finish_m + off)
    return Curve(track, radius).point(at)


def shown(track: Track, target: LineTarget, mark: Mark, off: float, *, back: bool) -> float:
    """What a tape from a mark shows where a line was painted off; negative beyond the mark."""
    radius = tape_radius(track, target.lane)
    here, there = walked_on(track, target, off, radius), mark_on(track, mark, radius)
    metres = hypot(here[0] - there[0], here[1] - there[1])
    left = target.to_section_end_m - off if back else target.place.metres + off
    return metres if left >= 0 else -metres


def the_end_of_lane(lane: int) -> tuple[Track, tuple[LineTarget, ...], LineTarget]:
    track = Track()
    targets = zone_targets(track, Relay.FOUR_BY_100, 3, BOOK.zone(Relay.FOUR_BY_100, 3))
    one = next(one for one in targets if (one.lane, one.line) == (lane, ZoneLine.END))
    return track, targets, one


@pytest.mark.parametrize(
    ("off", "tolerance", "verdict"),
    [
        (0.02, 0.02, Verdict.RIGHT),
        (-0.02, 0.02, Verdict.RIGHT),
        (0.0206, 0.02, Verdict.WRONG),
        (-0.0206, 0.02, Verdict.WRONG),
        (3.0, None, Verdict.NOT_JUDGED),
    ],
)
def test_a_line_just_within_the_tolerance_is_right(
    off: float, tolerance: float | None, verdict: Verdict
) -> None:
    track, targets, end = the_end_of_lane(4)
    tape = end.tapes[0]
    seen = Measured(tape.mark, shown(track, end, tape.mark, off, back=tape.back))
    (found,) = survey(track, targets, {(4, ZoneLine.END): seen}, tolerance).found.values()
    assert found.verdict is verdict


@pytest.mark.parametrize(
    ("seen", "sentence"),
    [
        (Measured(Mark.LANE_INSIDE, 3.83), "lane 3, whose line was not measured"),
        (Measured(Mark.FINISH, 30.0), "not to be measured from"),
        (Measured(Mark.SECOND_BEND_START, 70.0), "not to be measured from"),
        (Measured(Mark.SECOND_BEND_END, 200.0), "more than 15 m off"),
        (Measured(Mark.SECOND_BEND_END, 25.0), "more than 15 m off"),
    ],
)
def test_what_cannot_have_been_measured_so_is_refused_with_the_lane(
    seen: Measured, sentence: str
) -> None:
    track, targets, _ = the_end_of_lane(4)
    judged = survey(track, targets, {(4, ZoneLine.END): seen}, 0.02)
    assert not judged.found
    (told,) = judged.refused.values()
    assert told.startswith("Lane 4, end: ")
    assert sentence in told


def test_a_start_that_is_still_painted_ten_metres_too_far_on_is_found_wrong() -> None:
    # handbook of the trade, section 3: a zone began 10 m before the leg line until 31 Oct 2017
    track = Track()
    targets = targets_of(track, Relay.FOUR_BY_100, 1)
    start = targets[4, ZoneLine.START]
    tape = start.tapes[0]
    seen = Measured(tape.mark, shown(track, start, tape.mark, 10.0, back=tape.back))
    judged = survey(track, tuple(targets.values()), {(4, ZoneLine.START): seen}, 0.02)
    (found,) = judged.found.values()
    assert found.verdict is Verdict.WRONG
    assert found.off_m == pytest.approx(10.0, abs=MILLIMETRE)


def test_a_line_that_was_taped_from_one_that_is_refused_is_refused_too() -> None:
    track, targets, _ = the_end_of_lane(4)
    far = Measured(Mark.SECOND_BEND_END, 60.0)
    measured = {(3, ZoneLine.END): far, (4, ZoneLine.END): Measured(Mark.LANE_INSIDE, 0.2)}
    judged = survey(track, targets, measured, 0.02)
    assert set(judged.refused) == set(measured)


def test_a_line_that_the_track_or_the_edition_lacks_is_refused() -> None:
    track, targets, _ = the_end_of_lane(4)
    seen = Measured(Mark.SECOND_BEND_END, 5.6)
    measured = {(9, ZoneLine.END): seen, (4, ZoneLine.ACCELERATION): seen}
    assert set(survey(track, targets, measured, 0.02).refused) == set(measured)

"""How does a zone lie on the track, drawn to a round scale with its bends curved?

Seen from above, and turned so that the middle of the zone is run from left to right; the infield
lies above. Zone lines, leg lines and the marks that tapes are laid from stand where
`rules/track.py` has them. Black and white tell it all: the zone is grey, an acceleration zone
dashed before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import atan2, ceil, cos, floor, sin
from typing import Final

from app.forms.flow import Align, Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, Disc, SetText, Shape, Stroke, Trace
from app.forms.paper import POINTS_PER_MM
from app.rules.on_plan import edge_radius, spot_at
from app.rules.survey import LETTERS, Mark
from app.rules.track import Section, Track, ZonePlace, abreast, lap_length, section_length

SCALES: Final = (100, 125, 150, 200, 250, 300, 400, 500, 600, 750, 1000)
"""One metre of paper is so many of track; the first one at which the zone has room is taken."""
AROUND_M: Final = 4.0  # shown before and after the zone
NEAR_M: Final = 15.0  # a mark this near is shown too
STEP_M: Final = 0.5  # of a bend that is drawn as straight pieces: 1 mm off
BESIDE: Final = 16.0  # points beside the track, for the letters of marks
BELOW: Final = 26.0  # points below the drawing, for its scale and the direction
LETTER: Final = 7.0
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ZoneOnTrack:
    """The zone of one take-over in every lane of a track, from the inside."""

    track: Track
    zones: tuple[ZonePlace, ...]


@dataclass(frozen=True, slots=True)
class _View:
    """What is shown, in metres past the finish along lane 1, and how it comes onto the paper."""

    track: Track
    first: float
    last: float
    turn: float
    scale: int
    left: float = 0.0
    top: float = 0.0

    @property
    def points_per_metre(self) -> float:
        return 1000 * POINTS_PER_MM / self.scale

    def at(self, lane: int, past_finish: float, radius: float) -> Point:
        """Where the ray through a place of a lane meets a radius, on the paper."""
        spot, size = spot_at(self.track, lane, past_finish, radius), self.points_per_metre
        x = spot.x * cos(self.turn) - spot.y * sin(self.turn)
        y = spot.x * sin(self.turn) + spot.y * cos(self.turn)
        return self.left + x * size, self.top + y * size

    def along(self, lane: int, first: float, last: float, radius: float) -> tuple[Point, ...]:
        """The way at a radius beside a stretch of a lane."""
        steps = max(1, ceil(abs(last - first) / STEP_M))
        return tuple(
            self.at(lane, first + (last - first) * step / steps, radius)
            for step in range(steps + 1)
        )

    def across(self, lane: int, past_finish: float) -> tuple[Point, Point]:
        """A line across a lane."""
        inner, outer = edge_radius(self.track, lane - 1), edge_radius(self.track, lane)
        return self.at(lane, past_finish, inner), self.at(lane, past_finish, outer)


def draw_zone_on_track(flow: Flow, zone: ZoneOnTrack, says: str, tallest: float) -> int:
    """Draw it over the whole width, no taller than that, and move the pen below it; the scale."""
    view, height = _placed(flow, zone, tallest)
    with flow.inside(flow.tag("Figure", says)):
        flow.put(*_draw_zones(flow, view, zone))
        flow.put(*_draw_lanes(view))
        flow.put(*_draw_marks(flow, view))
        flow.put(*_draw_below(flow, view, flow.y + height))
    flow.y += height + BELOW
    return view.scale


def _placed(flow: Flow, zone: ZoneOnTrack, tallest: float) -> tuple[_View, float]:
    """The view at the largest scale that has room, in the middle of the width; how tall it is."""
    first, last = _stretch(zone)
    middle = (first + last) / 2
    outer = edge_radius(zone.track, zone.track.lanes)
    here, there = (spot_at(zone.track, 1, middle + by, outer) for by in (-0.5, 0.5))
    turn = -atan2(there.y - here.y, there.x - here.x)
    for scale in SCALES:
        view = _View(zone.track, first, last, turn, scale)
        points = [
            *view.along(1, first, last, outer),
            *view.along(1, first, last, edge_radius(zone.track, 0)),
        ]
        left, top = min(x for x, _ in points), min(y for _, y in points)
        width = max(x for x, _ in points) - left + 2 * BESIDE
        height = max(y for _, y in points) - top + 2 * BESIDE
        if (width <= flow.width and height <= tallest) or scale == SCALES[-1]:
            break
    x = flow.left + (flow.width - width) / 2 + BESIDE - left
    return _View(zone.track, first, last, turn, scale, x, flow.y + BESIDE - top), height


def _stretch(zone: ZoneOnTrack) -> tuple[float, float]:
    """From where to where the track is shown: all of the zone, and marks that lie near it."""
    begins, ends = [], []
    for lane, place in enumerate(zone.zones, 1):
        starts = place.acceleration_start or place.start
        begins.append(abreast(zone.track, starts.past_finish_m, 1, lane))
        ends.append(abreast(zone.track, place.end.past_finish_m, 1, lane))
    first, last = min(begins) - AROUND_M, max(ends) + AROUND_M
    near = [at for _, at in _marks(zone.track, first - NEAR_M, last + NEAR_M)]
    return min([first, *(at - 1.0 for at in near)]), max([last, *(at + 1.0 for at in near)])


def _marks(track: Track, first: float, last: float) -> Iterator[tuple[Mark, float]]:
    """The marks within a stretch, and where lane 1 has them."""
    lap, at = lap_length(track, 1), 0.0
    places: list[tuple[Mark, float]] = []
    for mark, section in zip(LETTERS, Section, strict=True):
        places.append((mark, at))
        at += section_length(track, 1, section)
    for number in range(floor(first / lap), floor(last / lap) + 1):
        for mark, place in places:
            if first <= number * lap + place <= last:
                yield mark, number * lap + place


def _draw_zones(flow: Flow, view: _View, zone: ZoneOnTrack) -> Iterator[Shape]:
    for lane, place in enumerate(zone.zones, 1):
        start, end = place.start.past_finish_m, place.end.past_finish_m
        inner, outer = edge_radius(view.track, lane - 1), edge_radius(view.track, lane)
        there = view.along(lane, start, end, inner)
        back = view.along(lane, end, start, outer)
        yield Area((*there, *back), grey=0.86)
        if place.acceleration_start is not None:
            before = place.acceleration_start.past_finish_m
            yield Trace(view.across(lane, before), 0.9, (1.5, 1.5))
        yield Trace(view.across(lane, place.leg_line.past_finish_m), 0.7, (2.5, 1.5))
        for at in (start, end):
            yield Trace(view.across(lane, at), 1.5)
        middle = (start + place.leg_line.past_finish_m) / 2
        size = min(LETTER, view.track.lane_width_m * view.points_per_metre * 0.8)
        x, y = view.at(lane, middle, (inner + outer) / 2)
        yield _letter(flow, str(lane), (x, y), size)


def _draw_lanes(view: _View) -> Iterator[Shape]:
    for edge in range(view.track.lanes + 1):
        thickness = 1.1 if edge == 0 and view.track.kerb else 0.4
        yield Trace(view.along(1, view.first, view.last, edge_radius(view.track, edge)), thickness)


def _draw_marks(flow: Flow, view: _View) -> Iterator[Shape]:
    """Each mark as a line across the track, with its letter on the outside."""
    beyond = BESIDE / 2 / view.points_per_metre
    inner, outer = edge_radius(view.track, 0), edge_radius(view.track, view.track.lanes)
    for mark, at in _marks(view.track, view.first, view.last):
        ends = (view.at(1, at, inner - beyond), view.at(1, at, outer + beyond * 0.4))
        yield Trace(ends, 0.8, (4.0, 1.5, 1.0, 1.5))
        x, y = view.at(1, at, outer + beyond * 1.2)
        yield Disc(x, y, 5.2, grey=1.0)
        yield _letter(flow, LETTERS[mark], (x, y), LETTER, Weight.BOLD)


def _draw_below(flow: Flow, view: _View, y: float) -> Iterator[Shape]:
    """The scale as a bar, and an arrow in the direction of running."""
    metres = 10 if view.scale >= SCALES[3] else 5
    left, right = flow.left, flow.left + metres * view.points_per_metre
    yield Stroke(left, y + 6.0, right, y + 6.0, 1.2)
    for x in (left, right):
        yield Stroke(x, y + 3.0, x, y + 9.0, 0.8)
    yield _words(flow, f"{metres} m, drawn 1:{view.scale}", right + 5.0, y + 8.4, Align.LEFT)
    tip = flow.left + flow.width
    yield Stroke(tip - 34.0, y + 6.0, tip - 5.0, y + 6.0, 0.9)
    yield Area(((tip, y + 6.0), (tip - 7.0, y + 3.0), (tip - 7.0, y + 9.0)), grey=0.0)
    yield _words(flow, "direction of running", tip - 39.0, y + 8.4, Align.RIGHT)


def _letter(
    flow: Flow, text: str, at: Point, size: float, weight: Weight = Weight.REGULAR
) -> SetText:
    line = flow.typesetter.set_line(text, "the drawing", size, weight)
    return SetText(at[0] - line.width / 2, at[1] + size * 0.36, line, tag=flow.within)


def _words(flow: Flow, text: str, x: float, baseline: float, anchor: Align) -> SetText:
    line = flow.typesetter.set_line(text, "the drawing", LETTER, Weight.REGULAR)
    return SetText(x - line.width * anchor.value, baseline, line, tag=flow.within)


def marks_in_words() -> str:
    """What the letters mean, in one sentence."""
    return "; ".join(f"{letter}: {mark}" for mark, letter in LETTERS.items())

"""Where do lines, figures and marks stand in a picture of the zone on a page?

To scale, by the geometry of the forms (`app/forms/zone_scale.py`): distances run along the
direction of running, from the start of the zone. A mark carries the number of its report. Nothing
of it is words: the macro `_zone.svg.html` says them in the page's language. One figure is for one
width, so that its letters are as large on a phone as on a tablet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.forms.zone_scale import (
    NUMBER_RADIUS,
    PlacedMark,
    Scale,
    ZoneMark,
    ZonePicture,
    can_draw,
    make_scale,
    place_marks,
)
from app.reports.wire import ReportOut
from app.rules.book import Book
from app.rules.relay import Relay
from app.rulings.reported import zone_pictures

WIDE, NARROW = 540.0, 320.0
MARGIN = 14.0
LANE_HEIGHT = 40.0
BELOW = 52.0
ABOVE = 30.0
STEP = 30.0
ENLARGED = 2.2
"""How much larger a number is drawn than on paper: its radius, and the step it stands on."""
HOOK_M = 0.8
FIVES_NEED = 30.0
HATCH = 8.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight stroke."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Tick:
    """A figure of the axis: where it stands, and how many metres it means."""

    x: float
    metres: int


@dataclass(frozen=True, slots=True)
class Spot:
    """A mark where it is drawn. `outside` is 1 beyond the picture, -1 before it, else 0.

    `bar` is its uncertainty, None where there is none to draw.
    """

    number: int
    mark: ZoneMark
    by: str
    x: float
    y: float
    outside: int
    bar: Line | None


@dataclass(frozen=True, slots=True)
class ZoneFigure:
    """A zone with its marks on a picture of `width` × `height`. `accelerates_x` is None where the
    edition has no acceleration zone.
    """

    take_over: int
    width: float
    height: float
    left: float
    right: float
    lane_top: float
    lane_bottom: float
    start_x: float
    end_x: float
    leg_x: float
    accelerates_x: float | None
    hooks: tuple[Line, ...]
    hatch: tuple[Line, ...]
    metre_ticks: tuple[Line, ...]
    ticks: tuple[Tick, ...]
    scale_bar: Line
    spots: tuple[Spot, ...]
    length_m: float
    radius: float = NUMBER_RADIUS * ENLARGED


@dataclass(frozen=True, slots=True)
class Numbered:
    """A position in a report: the report's number on the page, and who saw it."""

    number: int
    by: str
    mark: ZoneMark


@dataclass(frozen=True, slots=True)
class SeenZone:
    """The zone of a take-over as reports tell of it: its measures, and all that was seen there."""

    take_over: int
    picture: ZonePicture
    seen: tuple[Numbered, ...]

    def figure(self, width: float) -> ZoneFigure:
        """The picture for a width."""
        return draw(self.take_over, self.picture, self.seen, width)

    @property
    def figures(self) -> tuple[tuple[str, ZoneFigure], ...]:
        """One for tablets, and one for phones, each by its name."""
        return (("wide", self.figure(WIDE)), ("narrow", self.figure(NARROW)))


def zones_seen(relay: Relay, reports: Sequence[ReportOut], book: Book) -> tuple[SeenZone, ...]:
    """The zone of each take-over at which a report that stands gives a position, drawn to scale."""
    measures: dict[int, ZonePicture] = {}
    seen: dict[int, list[Numbered]] = {}
    for number, report in enumerate(reports, 1):
        for picture in zone_pictures(relay, [report], book):
            assert report.take_over is not None
            measures[report.take_over] = picture
            marks = seen.setdefault(report.take_over, [])
            marks += [Numbered(number, report.official_name, mark) for mark in picture.marks]
    return tuple(
        SeenZone(one, measures[one], tuple(seen[one]))
        for one in sorted(measures)
        if seen[one] and can_draw(measures[one])
    )


def draw(
    take_over: int, picture: ZonePicture, seen: Sequence[Numbered], width: float
) -> ZoneFigure:
    """A zone for a page; with nothing `seen`, the bare zone."""
    scale = make_scale(picture, MARGIN, width - MARGIN)
    placed = place_marks([_widened(one.mark) for one in seen], _enlarged(scale))
    steps = max((one.step + 1 for one in placed), default=0)
    top = ABOVE + steps * STEP
    bottom = top + LANE_HEIGHT
    start, end = scale.x(0), scale.x(picture.length_m)
    accelerates = scale.x(-picture.acceleration_m) if picture.acceleration_m > 0 else None
    return ZoneFigure(
        take_over=take_over,
        width=width,
        height=bottom + BELOW,
        left=scale.left,
        right=scale.right,
        lane_top=top,
        lane_bottom=bottom,
        start_x=start,
        end_x=end,
        leg_x=scale.rim(picture.leg_line_m),
        accelerates_x=accelerates,
        hooks=tuple(_hooks(scale, (start, end), (top, bottom))),
        hatch=_hatch(accelerates, start, top, bottom),
        metre_ticks=_metre_ticks(scale, bottom),
        ticks=_ticks(scale),
        scale_bar=Line(scale.right - 5 * scale.points_per_metre, 12.0, scale.right, 12.0),
        spots=tuple(_spot(one, seen[one.number - 1], scale, top) for one in placed),
        length_m=picture.length_m,
    )


def _enlarged(scale: Scale) -> Scale:
    """The same scale as paper has it, on which numbers take as much room as here."""
    left = scale.left / ENLARGED
    return Scale(left, left + (scale.right - scale.left) / ENLARGED, scale.first_m, scale.last_m)


def _widened(mark: ZoneMark) -> ZoneMark:
    return mark if math.isfinite(mark.uncertainty) else ZoneMark(mark.label, mark.metres, 0.0, "")


def _hooks(
    scale: Scale, edges: tuple[float, float], heights: tuple[float, float]
) -> Sequence[Line]:
    """The lines of the zone, hooked inwards as they are painted (common practice)."""
    hook, (start, end), (top, bottom) = HOOK_M * scale.points_per_metre, edges, heights
    return [
        Line(edge, y, edge + inward, y)
        for edge, inward in ((start, hook), (end, -hook))
        for y in (top + 1.5, bottom - 1.5)
    ]


def _hatch(first: float | None, last: float, top: float, bottom: float) -> tuple[Line, ...]:
    if first is None:
        return ()
    found, height = [], bottom - top
    for place in range(1, int((last - first + height) / HATCH) + 1):
        x = first + place * HATCH
        low, high = max(x - last, 0.0), min(x - first, height)
        found.append(Line(x - low, top + low, x - high, top + high))
    return tuple(found)


def _metre_ticks(scale: Scale, bottom: float) -> tuple[Line, ...]:
    metres = range(math.ceil(scale.first_m), math.floor(scale.last_m) + 1)
    return tuple(
        Line(scale.x(one), bottom + 2, scale.x(one), bottom + (9 if one % 5 == 0 else 6))
        for one in metres
    )


def _ticks(scale: Scale) -> tuple[Tick, ...]:
    every = 5 if scale.points_per_metre * 5 > FIVES_NEED else 10
    first = math.ceil(scale.first_m / every) * every
    return tuple(Tick(scale.x(one), one) for one in range(first, int(scale.last_m) + 1, every))


def _spot(placed: PlacedMark, seen: Numbered, scale: Scale, top: float) -> Spot:
    mark = seen.mark
    y = top - NUMBER_RADIUS * ENLARGED - 10.0 - placed.step * STEP
    outside = 0 if scale.shows(mark.metres) else (1 if mark.metres > scale.last_m else -1)
    half = abs(mark.uncertainty)
    bar = None
    if not outside and math.isfinite(half) and half > 0:
        below = y + NUMBER_RADIUS * ENLARGED + 5.0
        bar = Line(scale.rim(mark.metres - half), below, scale.rim(mark.metres + half), below)
    return Spot(seen.number, mark, seen.by, scale.rim(mark.metres), y, outside, bar)

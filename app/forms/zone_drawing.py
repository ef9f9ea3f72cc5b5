"""Where in the zone was the baton, drawn to scale?

Black and white tell it all: the zone is grey, the acceleration zone hatched, the marks numbered,
their uncertainty a bar below the number. A mark that lies outside the picture is shown at its rim
with its distance. Zone lines are hooked inwards, as they are painted on tracks (common practice).
Where things stand is for `zone_scale`; what a position means for a ruling is not for a picture.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from app.forms.flow import Align, Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, Disc, SetText, Shape, Stroke, box
from app.forms.zone_scale import (
    NUMBER_RADIUS,
    PlacedMark,
    Scale,
    ZoneMark,
    ZonePicture,
    make_scale,
    place_marks,
    say_metres,
)

SCALE_BAR_M = 5
LANE_HEIGHT = 22.0
HOOK_M = 0.8
STEP = 18.0
NUMBER_SIZE = 6.5
LABEL_SIZE = 6.8
HATCH = 4.0
HEADING_SIZE = 9.0
HEADING_ROOM = 16.0
ABOVE = 14.0
BELOW = 34.0
NARROWEST_FOR_FIVES = 24.0  # points between two figures of the axis


@dataclass(frozen=True, slots=True)
class Caption:
    """Words in the drawing; x is where their left end, middle or right end stands."""

    text: str
    x: float
    baseline: float
    anchor: Align = Align.CENTRE
    weight: Weight = Weight.REGULAR
    size: float = LABEL_SIZE


def draw_zone(flow: Flow, picture: ZonePicture, heading: str, first: int = 1) -> None:
    """Draw the zone under its heading over the whole width, and move the pen below it.

    Its marks are numbered from `first` on.
    """
    scale = make_scale(picture, flow.left, flow.left + flow.width)
    placed = place_marks(picture.marks, scale, first)
    above = ABOVE + max((mark.step + 1 for mark in placed), default=0) * STEP
    flow.need(HEADING_ROOM + above + LANE_HEIGHT + BELOW)
    flow.label(heading, HEADING_SIZE)
    flow.skip(2.0)
    lane = flow.y + above
    with flow.inside(flow.tag("Figure", f"{heading}. Its marks are listed below it.")):
        flow.put(*_draw_lane(picture, scale, lane))
        flow.put(*_draw_axis(flow, picture, scale, lane + LANE_HEIGHT))
        flow.put(*_draw_direction(flow, scale, flow.y + 6.0))
        for mark in placed:
            flow.put(*_draw_mark(flow, mark, scale, lane))
    flow.y = lane + LANE_HEIGHT + BELOW


def _draw_lane(picture: ZonePicture, scale: Scale, top: float) -> Iterator[Shape]:
    start, end = scale.x(0), scale.x(picture.length_m)
    yield Area(box(start, top, end - start, LANE_HEIGHT), grey=0.88)
    if picture.acceleration_m > 0:
        yield from _hatch(scale.x(-picture.acceleration_m), start, top)
        edge = scale.x(-picture.acceleration_m)
        yield Stroke(edge, top, edge, top + LANE_HEIGHT, 1.0, (2.0, 2.0))
    for y in (top, top + LANE_HEIGHT):
        yield Stroke(scale.left, y, scale.right, y, 0.6)
    hook = HOOK_M * scale.points_per_metre
    for edge, inward in ((start, hook), (end, -hook)):
        yield Stroke(edge, top, edge, top + LANE_HEIGHT, 2.0)
        for y in (top + 1, top + LANE_HEIGHT - 1):
            yield Stroke(edge, y, edge + inward, y, 2.0)
    leg = scale.rim(picture.leg_line_m)
    yield Stroke(leg, top, leg, top + LANE_HEIGHT, 1.0, (5.0, 2.0))


def _hatch(left: float, right: float, top: float) -> Iterator[Shape]:
    for place in range(1, int((right - left + LANE_HEIGHT) / HATCH) + 1):
        x = left + place * HATCH
        low = max(x - right, 0.0)
        high = min(x - left, LANE_HEIGHT)
        yield Stroke(x - low, top + low, x - high, top + high, 0.35)


def _draw_axis(flow: Flow, picture: ZonePicture, scale: Scale, top: float) -> Iterator[Shape]:
    for metre in range(math.ceil(scale.first_m), math.floor(scale.last_m) + 1):
        tall = 5.0 if metre % 5 == 0 else 2.5
        yield Stroke(scale.x(metre), top + 1.5, scale.x(metre), top + 1.5 + tall, 0.5)
    every = 5 if scale.points_per_metre * 5 > NARROWEST_FOR_FIVES else 50
    for metre in range(math.ceil(scale.first_m / every) * every, int(scale.last_m) + 1, every):
        figure = f"{metre} m".replace("-", "\u2212")
        yield _set_caption(flow, Caption(figure, scale.x(metre), top + 14.0))
    names = [("start", 0.0), ("end", picture.length_m)]
    names.append(("leg line", picture.leg_line_m))
    if picture.acceleration_m > 0:
        names.append(("acceleration zone", -picture.acceleration_m))
    for name, metres in names:
        caption = Caption(name, scale.rim(metres), top + 23.0, weight=Weight.BOLD)
        yield _set_caption(flow, caption)


def _draw_direction(flow: Flow, scale: Scale, y: float) -> Iterator[Shape]:
    caption = Caption("direction of running", scale.left, y + 2.4, Align.LEFT)
    words = _set_caption(flow, caption)
    tail = scale.left + words.line.width + 5.0
    yield words
    yield Stroke(tail, y, tail + 30.0, y, 1.0)
    yield Area(((tail + 36.0, y), (tail + 29.0, y - 3.0), (tail + 29.0, y + 3.0)), grey=0.0)
    start, end = scale.right - SCALE_BAR_M * scale.points_per_metre, scale.right
    yield Stroke(start, y, end, y, 1.0)
    for x in (start, end):
        yield Stroke(x, y - 2.5, x, y + 2.5, 1.0)
    caption = Caption(f"scale: {SCALE_BAR_M} m", start - 4.0, y + 2.4, Align.RIGHT)
    yield _set_caption(flow, caption)


def _draw_mark(flow: Flow, placed: PlacedMark, scale: Scale, lane: float) -> Iterator[Shape]:
    x = scale.rim(placed.mark.metres)
    y = lane - NUMBER_RADIUS - 8.0 - placed.step * STEP
    if scale.shows(placed.mark.metres):
        yield from _draw_stem(x, y, lane)
        yield from _draw_uncertainty(placed.mark, scale, y + NUMBER_RADIUS + 3.5)
    else:
        outwards = 1.0 if placed.mark.metres > scale.last_m else -1.0
        yield Area(((x, y), (x - outwards * 6, y - 3), (x - outwards * 6, y + 3)), grey=0.0)
        x -= outwards * (NUMBER_RADIUS + 8.0)
        yield _set_caption(flow, _say_how_far(placed.mark, x, y, outwards))
    yield Disc(x, y, NUMBER_RADIUS, grey=1.0)
    number = Caption(str(placed.number), x, y + 2.3, weight=Weight.BOLD, size=NUMBER_SIZE)
    yield _set_caption(flow, number)


def _draw_stem(x: float, y: float, lane: float) -> Iterator[Shape]:
    middle = lane + LANE_HEIGHT / 2
    yield Stroke(x, y, x, middle, 0.8)
    yield Area(((x, middle + 5), (x - 2, middle), (x, middle - 5), (x + 2, middle)), grey=0.0)


def _say_how_far(mark: ZoneMark, x: float, y: float, outwards: float) -> Caption:
    anchor = Align.RIGHT if outwards > 0 else Align.LEFT
    beside = x - outwards * (NUMBER_RADIUS + 3.0)
    return Caption(say_metres(mark.metres), beside, y + 2.4, anchor, Weight.BOLD)


def _draw_uncertainty(mark: ZoneMark, scale: Scale, y: float) -> Iterator[Shape]:
    half = abs(mark.uncertainty)
    if not math.isfinite(half) or half == 0.0:
        return
    start, end = scale.rim(mark.metres - half), scale.rim(mark.metres + half)
    yield Stroke(start, y, end, y, 1.0)
    for x in (start, end):
        yield Stroke(x, y - 2.2, x, y + 2.2, 1.0)


def _set_caption(flow: Flow, caption: Caption) -> SetText:
    text, size = caption.text, caption.size
    line = flow.typesetter.set_line(text, "the drawing", size, caption.weight)
    start = caption.x - line.width * caption.anchor.value
    lowest, highest = flow.left, flow.left + flow.width - line.width
    return SetText(min(max(start, lowest), highest), caption.baseline, line, tag=flow.within)

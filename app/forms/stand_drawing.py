"""Where does an umpire stand at a zone, and what is watched from there?

The zone in all lanes, straightened and run from left to right, each lane from the start of its own
zone, so that all of them begin under each other. Black and white tell it all: the zone is grey,
watched lanes hatched, the watched edge thick, a black spot the place to stand, inside of the track
above and outside below. Along the running it is to scale, across it is not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from app.forms.flow import Align, Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, Disc, SetText, Shape, Stroke, box
from app.forms.zone_scale import Scale, ZonePicture, make_scale

LANE: Final = 6.0  # points, for a figure of 7
FIGURE: Final = 7.0
BESIDE: Final = 12.0  # above and below the lanes, for the spot
SPOT: Final = 4.2
HATCH: Final = 4.0
ARROW: Final = 28.0


@dataclass(frozen=True, slots=True)
class StandDrawn:
    """A place in words; its zone, how many lanes there are, at how many metres the edge that is
    watched lies, in which lanes, and from which side.
    """

    words: str
    zone: ZonePicture
    lanes: int
    edge_m: float
    watched: frozenset[int]
    is_inside: bool


def draw_stand(flow: Flow, stand: StandDrawn) -> None:
    """Draw it over the whole width, and move the pen below it."""
    scale = make_scale(stand.zone, flow.left + FIGURE, flow.left + flow.width)
    top = flow.y + BESIDE
    tall = stand.lanes * LANE
    says = f"Where to stand: {stand.words}. What is watched is hatched, a black spot is the place."
    with flow.inside(flow.tag("Figure", says)):
        flow.put(*_draw_zone(stand, scale, top))
        flow.put(*_draw_watched(stand, scale, top))
        flow.put(*_draw_lanes(flow, stand, scale, top))
        flow.put(*_draw_spot(flow, stand, scale, top))
        flow.put(*_draw_sides(flow, stand, scale, top))
    flow.y = top + tall + BESIDE


def _draw_zone(stand: StandDrawn, scale: Scale, top: float) -> Iterator[Shape]:
    tall, zone = stand.lanes * LANE, stand.zone
    start, end = scale.x(0.0), scale.x(zone.length_m)
    yield Area(box(start, top, end - start, tall), grey=0.86)
    leg = scale.rim(zone.leg_line_m)
    yield Stroke(leg, top, leg, top + tall, 0.7, (2.5, 1.5))
    if zone.acceleration_m:
        before = scale.x(-zone.acceleration_m)
        yield Stroke(before, top, before, top + tall, 0.9, (1.5, 1.5))
    for edge in (start, end):
        yield Stroke(edge, top, edge, top + tall, 1.3)


def _draw_watched(stand: StandDrawn, scale: Scale, top: float) -> Iterator[Shape]:
    start, end, edge = scale.x(0.0), scale.x(stand.zone.length_m), scale.x(stand.edge_m)
    for lane in sorted(stand.watched):
        y = top + (lane - 1) * LANE
        for step in range(int((end - start - LANE) / HATCH) + 1):
            x = start + step * HATCH
            yield Stroke(x, y + LANE, x + LANE, y, 0.35)
        yield Stroke(edge, y, edge, y + LANE, 4.0)


def _draw_lanes(flow: Flow, stand: StandDrawn, scale: Scale, top: float) -> Iterator[Shape]:
    """Their lines and numbers; those that are watched stand out."""
    for line in range(stand.lanes + 1):
        y = top + line * LANE
        yield Stroke(scale.left, y, scale.right, y, 1.0 if line == 0 else 0.4)
    for lane in range(1, stand.lanes + 1):
        weight = Weight.BOLD if lane in stand.watched else Weight.REGULAR
        baseline = top + lane * LANE - LANE / 2 + FIGURE * 0.36
        yield _words(flow, str(lane), (scale.left - 2.0, baseline), Align.RIGHT, weight)


def _draw_spot(flow: Flow, stand: StandDrawn, scale: Scale, top: float) -> Iterator[Shape]:
    x = scale.x(stand.edge_m)
    y = top - BESIDE / 2 if stand.is_inside else top + stand.lanes * LANE + BESIDE / 2
    yield Disc(x, y, SPOT, grey=0.0)
    anchor, away = (Align.LEFT, SPOT + 2.5) if stand.edge_m == 0.0 else (Align.RIGHT, -SPOT - 2.5)
    yield _words(flow, "you", (x + away, y + FIGURE * 0.34), anchor, Weight.BOLD)


def _draw_sides(flow: Flow, stand: StandDrawn, scale: Scale, top: float) -> Iterator[Shape]:
    """Which side is which; on the one where nobody stands, the direction."""
    inside, outside = top - 4.0, top + stand.lanes * LANE + FIGURE + 1.0
    for words, y in (("inside", inside), ("outside", outside)):
        yield _words(flow, words, ((scale.left + scale.right) / 2, y), Align.CENTRE)
    y = outside if stand.is_inside else inside
    running = _words(flow, "running", (scale.right - ARROW, y), Align.RIGHT)
    tip, y = scale.right, y - 2.5
    yield running
    yield Stroke(tip - ARROW + 3.0, y, tip - 5.0, y, 0.7)
    yield Area(((tip, y), (tip - 6.0, y - 2.5), (tip - 6.0, y + 2.5)), grey=0.0)


def _words(
    flow: Flow,
    text: str,
    at: tuple[float, float],
    anchor: Align,
    weight: Weight = Weight.REGULAR,
) -> SetText:
    line = flow.typesetter.set_line(text, "the drawing", FIGURE, weight)
    return SetText(at[0] - line.width * anchor.value, at[1], line, tag=flow.within)

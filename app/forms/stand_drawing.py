"""Where does an umpire stand at a zone, and what is watched from there?

The zone in all lanes, straightened and run from left to right, each lane from the start of its own
zone, so that all of them begin under each other. Black and white tell it all: the zone is grey,
watched lanes hatched, the watched edge thick, a black spot the place to stand, inside of the track
above and outside below. Along the running it is to scale, across it is not; a zone whose length is
not known is broken in the middle. Several stands are drawn smaller, two in a row, with the numbers
of the watched lanes alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, Disc, SetText, Shape, Stroke, box
from app.forms.typesetting import Line, Segment
from app.forms.zone_scale import Scale, ZonePicture, make_scale
from app.plurals import runs, spans
from app.rules.relay import Edge

FIGURE: Final = 7.0
SPOT: Final = 4.2
HATCH: Final = 4.0
ARROW: Final = 20.0
BREAK: Final = 5.0
AWAY: Final = 3.0  # of words from what they stand beside
IN_A_ROW: Final = 2
BETWEEN: Final = 10.0
UNKNOWN: Final = ZonePicture("", length_m=30.0, leg_line_m=0.0, acceleration_m=0.0, marks=())
"""Along what a zone is drawn that has no measures; it shows none of them."""


@dataclass(frozen=True, slots=True)
class StandDrawn:
    """A place in words, and as its drawing is headed, if it is, with what a straightened zone does
    not show; its zone, or None where its
    measures are not known; how many lanes there are, which edge of it is watched, in which lanes,
    and from which side.
    """

    words: str
    heading: str
    note: str
    zone: ZonePicture | None
    lanes: int
    edge: Edge
    watched: frozenset[int]
    is_inside: bool


@dataclass(frozen=True, slots=True)
class Size:
    """Points that a lane takes, and the room above and below the lanes for the spot; whether every
    lane has its number, which one under 6 points has no room for.
    """

    lane: float
    beside: float
    has_all_numbers: bool


LARGE: Final = Size(6.0, 12.0, has_all_numbers=True)
SMALL: Final = Size(4.0, 11.0, has_all_numbers=False)


@dataclass(frozen=True, slots=True)
class _View:
    """A stand on the paper: its scale, and where its lanes lie."""

    stand: StandDrawn
    size: Size
    scale: Scale
    top: float

    @property
    def zone(self) -> ZonePicture:
        return self.stand.zone or UNKNOWN

    @property
    def bottom(self) -> float:
        return self.top + self.stand.lanes * self.size.lane

    @property
    def start(self) -> float:
        return self.scale.x(0.0)

    @property
    def end(self) -> float:
        return self.scale.x(self.zone.length_m)

    @property
    def edge(self) -> float:
        return self.start if self.stand.edge is Edge.START else self.end

    @property
    def gap(self) -> tuple[float, ...]:
        """From where to where it is broken, if it is."""
        middle = (self.start + self.end) / 2
        return () if self.stand.zone else (middle - BREAK / 2, middle + BREAK / 2)

    def stretches(self, left: float, right: float) -> Iterator[tuple[float, float]]:
        """What is between two places, without what is broken out."""
        ends = (left, *self.gap, right)
        return zip(ends[::2], ends[1::2], strict=True)


def draw_stands(flow: Flow, stands: Sequence[StandDrawn], size: float) -> None:
    """One over the whole width, or several in rows, their headings in this size; the pen moves
    below them.
    """
    if len(stands) == 1:
        _draw_row(flow, stands, LARGE, size)
        return
    for first in range(0, len(stands), IN_A_ROW):
        _draw_row(flow, stands[first : first + IN_A_ROW], SMALL, size)


def _draw_row(flow: Flow, stands: Sequence[StandDrawn], size: Size, text: float) -> None:
    across = 1 if size is LARGE else IN_A_ROW
    width = (flow.width - BETWEEN * (across - 1)) / across
    headings = [_set_heading(flow, one, text, width) for one in stands]
    above = max(sum(line.height for line in lines) for lines in headings)
    tall = max(one.lanes for one in stands) * size.lane + 2 * size.beside
    flow.need(above + tall)
    for place, (stand, lines) in enumerate(zip(stands, headings, strict=True)):
        left, y, tag = flow.left + place * (width + BETWEEN), flow.y, flow.tag()
        for line in lines:
            flow.put(SetText(left, y + line.top, line, tag=tag))
            y += line.height
        _draw_stand(flow, stand, size, (left, left + width, flow.y + above + size.beside))
    flow.y += above + tall


def _set_heading(flow: Flow, stand: StandDrawn, text: float, width: float) -> list[Line]:
    """With the note below it."""
    heading = Segment(stand.heading, "the drawing", Weight.BOLD)
    note = Segment(stand.note, "the drawing")
    return [
        line
        for words in (heading, note)
        if words.text
        for line in flow.set_lines([words], text, width)
    ]


def _draw_stand(
    flow: Flow, stand: StandDrawn, size: Size, where: tuple[float, float, float]
) -> None:
    left, right, top = where
    numbers = list(_numbers(flow, stand, size))
    margin = max(line.width for line, _ in numbers) + 2.0
    scale = make_scale(stand.zone or UNKNOWN, left + margin, right)
    view = _View(stand, size, scale, top)
    broken = "" if stand.zone else " How long the zone is, is not known here: it is drawn broken."
    note = f" {stand.note}." if stand.note else ""
    says = (
        f"Where to stand: {stand.words}. What is watched is hatched, a black spot is the place."
        f"{broken}{note}"
    )
    with flow.inside(flow.tag("Figure", says)):
        flow.put(*_draw_zone(view))
        flow.put(*_draw_watched(view))
        flow.put(*_draw_lanes(view))
        for line, lane in numbers:
            baseline = top + (lane - 0.5) * size.lane + FIGURE * 0.36
            flow.put(SetText(scale.left - 2.0 - line.width, baseline, line, tag=flow.within))
        flow.put(*_draw_spot(flow, view))
        flow.put(*_draw_other_side(flow, view))


def _draw_zone(view: _View) -> Iterator[Shape]:
    top, bottom = view.top, view.bottom
    for left, right in view.stretches(view.start, view.end):
        yield Area(box(left, top, right - left, bottom - top), grey=0.86)
    if view.stand.zone:
        leg = view.scale.rim(view.zone.leg_line_m)
        yield Stroke(leg, top, leg, bottom, 0.7, (2.5, 1.5))
    if view.zone.acceleration_m:
        before = view.scale.x(-view.zone.acceleration_m)
        yield Stroke(before, top, before, bottom, 0.9, (1.5, 1.5))
    for edge in (view.start, view.end):
        yield Stroke(edge, top, edge, bottom, 1.3)
    for x in view.gap:
        yield Stroke(x - 1.5, bottom, x + 1.5, top, 0.7)


def _draw_watched(view: _View) -> Iterator[Shape]:
    tall = view.size.lane
    for lane in sorted(view.stand.watched):
        y = view.top + (lane - 1) * tall
        for left, right in view.stretches(view.start, view.end):
            for step in range(int((right - left - tall) / HATCH) + 1):
                x = left + step * HATCH
                yield Stroke(x, y + tall, x + tall, y, 0.35)
        yield Stroke(view.edge, y, view.edge, y + tall, 4.0)


def _draw_lanes(view: _View) -> Iterator[Shape]:
    for line in range(view.stand.lanes + 1):
        y = view.top + line * view.size.lane
        for left, right in view.stretches(view.scale.left, view.scale.right):
            yield Stroke(left, y, right, y, 1.0 if line == 0 else 0.4)


def _numbers(flow: Flow, stand: StandDrawn, size: Size) -> Iterator[tuple[Line, float]]:
    """The numbers of lanes, with the lane in whose middle each stands; those that are watched stand
    out.
    """
    if size.has_all_numbers:
        for lane in range(1, stand.lanes + 1):
            weight = Weight.BOLD if lane in stand.watched else Weight.REGULAR
            yield _set(flow, str(lane), weight), lane
        return
    for run in runs(stand.watched):
        yield _set(flow, spans(run), Weight.BOLD), (run[0] + run[-1]) / 2


def _draw_spot(flow: Flow, view: _View) -> Iterator[Shape]:
    """With whose place it is, and on which side."""
    y = _beside(view, is_inside=view.stand.is_inside)
    yield Disc(view.edge, y, SPOT, grey=0.0)
    side = "inside" if view.stand.is_inside else "outside"
    you, rest = _set(flow, "you", Weight.BOLD), _set(flow, f", {side}", Weight.REGULAR)
    x = view.edge + SPOT + AWAY
    if view.stand.edge is Edge.END:
        x = view.edge - SPOT - AWAY - you.width - rest.width
    baseline = y + FIGURE * 0.34
    yield SetText(x, baseline, you, tag=flow.within)
    yield SetText(x + you.width, baseline, rest, tag=flow.within)


def _draw_other_side(flow: Flow, view: _View) -> Iterator[Shape]:
    """The direction, and which side it is where that has room beside it."""
    y = _beside(view, is_inside=not view.stand.is_inside)
    baseline, tip = y + FIGURE * 0.34, view.scale.right
    running = _set(flow, "running", Weight.REGULAR)
    begin = tip - ARROW - running.width - AWAY
    yield SetText(begin, baseline, running, tag=flow.within)
    yield Stroke(tip - ARROW, y, tip - 5.0, y, 0.7)
    yield Area(((tip, y), (tip - 6.0, y - 2.5), (tip - 6.0, y + 2.5)), grey=0.0)
    side = _set(flow, "outside" if view.stand.is_inside else "inside", Weight.REGULAR)
    if view.scale.left + side.width + AWAY < begin:
        yield SetText(view.scale.left, baseline, side, tag=flow.within)


def _beside(view: _View, *, is_inside: bool) -> float:
    half = view.size.beside / 2
    return view.top - half if is_inside else view.bottom + half


def _set(flow: Flow, text: str, weight: Weight) -> Line:
    return flow.typesetter.set_line(text, "the drawing", FIGURE, weight)

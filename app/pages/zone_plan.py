"""One zone enlarged: its lanes under each other, and which post watches which edge of which lane.

Across, one unit is one metre from the start of each lane's own zone, in the direction of running;
lanes are drawn wider than they are. The inside of the track lies above, as on the home straight of
the whole plan. A post is a bar along the edge over the lanes that it watches, with a mark on its
side of the track.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from app.crew.wire import PostOut
from app.pages.track_plan import Box, Crew
from app.plurals import runs
from app.rules.on_plan import Spot
from app.rules.relay import Edge, Side
from app.rules.track import Section, zone_on_track

ROW = 2.8
STRIP = 4.2  # above and below the lanes, for the marks of posts and the names of the sides
AXIS = 2.8
NUMBERS = 3.4  # at the left, for the numbers of the lanes
BEYOND = 5.0  # shown before and after the zone
COLUMN = 3.5
FROM_EDGE = 1.9
MARK = 1.45
SIGN_INSIDE = 1.9  # from an unwatched edge to its sign, within the zone
TICKS_M = 5


@dataclass(frozen=True, slots=True)
class Row:
    """A lane; where its zone starts, as people find it with a tape: metres into a section."""

    lane: int
    y: float
    section: Section | None
    metres: float


@dataclass(frozen=True, slots=True)
class Bar:
    """Where a post watches: its bars over lanes side by side, its mark, and the line between."""

    number: int
    post: PostOut
    x: float
    spans: tuple[tuple[float, float], ...]
    at: Spot
    reaches: float


@dataclass(frozen=True, slots=True)
class Gap:
    """Lanes side by side of an edge that nobody watches, and where its sign stands."""

    edge: Edge
    lanes: tuple[int, ...]
    x: float
    top: float
    bottom: float
    at: Spot


@dataclass(frozen=True, slots=True)
class ZonePlan:
    """The zone of one take-over. Its start lies at 0 across; lanes are drawn from `left` to
    `right`, and under each other from `top` to `bottom`.
    """

    take_over: int
    box: Box
    left: float
    right: float
    top: float
    bottom: float
    length_m: float
    leg_line_m: float
    acceleration_m: float
    rows: tuple[Row, ...]
    bars: tuple[Bar, ...]
    gaps: tuple[Gap, ...]
    ticks: tuple[int, ...]


def plan_zone(crew: Crew, take_over: int) -> ZonePlan:
    """The zone of a take-over; KeyError for one that the relay lacks."""
    rule = crew.zones[take_over]
    bottom = len(crew.lanes) * ROW
    bars = _bars(crew, take_over)
    reach = [MARK + abs(bar.x) for bar in bars if bar.post.edge is Edge.START]
    left = -max([rule.acceleration_m + BEYOND, *reach]) - 0.5
    past = [MARK + bar.x for bar in bars if bar.post.edge is Edge.END]
    right = max([rule.length_m + BEYOND, *past]) + 0.5
    first = -int(rule.acceleration_m)
    return ZonePlan(
        take_over=take_over,
        box=Box(left - NUMBERS, -STRIP, right - left + NUMBERS, bottom + AXIS + 2 * STRIP),
        left=left,
        right=right,
        top=0.0,
        bottom=bottom,
        length_m=rule.length_m,
        leg_line_m=rule.leg_line_m,
        acceleration_m=rule.acceleration_m,
        rows=tuple(_row(crew, take_over, lane) for lane in crew.lanes),
        bars=tuple(bars),
        gaps=tuple(_gaps(crew, take_over)),
        ticks=tuple(range(first, int(rule.length_m) + 1, TICKS_M)),
    )


def _row(crew: Crew, take_over: int, lane: int) -> Row:
    y = (lane - 1) * ROW
    if lane > crew.track.lanes:
        return Row(lane, y, None, 0.0)
    zone = zone_on_track(crew.track, crew.relay, take_over, lane, crew.zones[take_over])
    return Row(lane, y, zone.start.section, zone.start.metres)


def _bars(crew: Crew, take_over: int) -> list[Bar]:
    """The posts of a zone, each in the nearest column where it is in no other's way."""
    bars: list[Bar] = []
    columns: dict[Edge, list[list[PostOut]]] = {edge: [] for edge in Edge}
    for number, post in crew.numbered:
        if post.take_over == take_over:
            column = _column(columns[post.edge], post)
            bars.append(_bar(crew, number, post, column))
    return bars


def _column(columns: list[list[PostOut]], post: PostOut) -> int:
    for place, column in enumerate(columns):
        if all(_clear(post, other) for other in column):
            column.append(post)
            return place
    columns.append([post])
    return len(columns) - 1


def _clear(one: PostOut, other: PostOut) -> bool:
    """Whether two posts can share a column: from both sides, and neither over the other's lanes."""
    if one.side is other.side:
        return False
    inner, outer = (one, other) if one.side is Side.INSIDE else (other, one)
    return max(inner.lanes) < min(outer.lanes)


def _bar(crew: Crew, number: int, post: PostOut, column: int) -> Bar:
    away = FROM_EDGE + COLUMN * column
    x = -away if post.edge is Edge.START else crew.zones[post.take_over].length_m + away
    spans = tuple(_span(run) for run in runs(post.lanes))
    inside = post.side is Side.INSIDE
    low = len(crew.lanes) * ROW + AXIS
    at = Spot(x, -STRIP / 2 if inside else low + STRIP / 2)
    return Bar(number, post, x, spans, at, spans[-1][0] if inside else spans[0][1])


def _span(lanes: Sequence[int]) -> tuple[float, float]:
    """From the top of the first lane to the bottom of the last."""
    return (lanes[0] - 1) * ROW, lanes[-1] * ROW


def _gaps(crew: Crew, take_over: int) -> Iterable[Gap]:
    for of, edge, lanes in crew.unwatched():
        if of == take_over:
            length = crew.zones[take_over].length_m
            x = 0.0 if edge is Edge.START else length
            inwards = SIGN_INSIDE if edge is Edge.START else -SIGN_INSIDE
            top, bottom = _span(lanes)
            yield Gap(edge, lanes, x, top, bottom, Spot(x + inwards, (top + bottom) / 2))

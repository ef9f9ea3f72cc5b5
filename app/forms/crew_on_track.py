"""How do the zones of a relay lie on the whole track, and which edge of a zone has which name?

Seen from above, the home straight below and run from left to right, the zones grey with thick
edges. A name such as 2S (the start of the second zone) stands outside the track beside its edge;
names of one place stand together, and none covers another. Inside, an arrow along the home straight
shows how it is run, to the finish line, which is dashed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import Area, SetText, Shape, Trace
from app.forms.typesetting import Line
from app.rules.on_plan import edge_radius, spot_at
from app.rules.relay import Edge
from app.rules.track import Track, ZonePlace, lap_length

STEPS: Final = 120  # of a lap that is drawn as straight pieces
ROOM: Final = 17.0  # points around the track, for names
NAME: Final = 7.0
AWAY: Final = 7.0  # of a name's middle from the track
FARTHER: Final = 3.0
SAME_PLACE_M: Final = 6.0  # names of edges nearer than this stand together
TITLE: Final = 9.0
INTO_FIELD: Final = 4.0  # of the finish line, to its name
ARROW: Final = 20.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class CrewOnTrack:
    """A relay's zones, by take-over, in each lane from the inside."""

    relay: str
    track: Track
    zones: Mapping[int, tuple[ZonePlace, ...]]


@dataclass(frozen=True, slots=True)
class _View:
    """A rectangle on the paper into which the plan is put."""

    track: Track
    size: float
    x: float
    y: float

    def at(self, lane: int, past_finish: float, radius: float, away: float = 0.0) -> Point:
        """Where a place is, so many points outside a radius."""
        spot = spot_at(self.track, lane, past_finish, radius + away / self.size)
        return self.x + spot.x * self.size, self.y + spot.y * self.size


def name_of(take_over: int, edge: Edge) -> str:
    """What an edge is called on the drawing and in the table: 2S, 2E."""
    return f"{take_over}{'S' if edge is Edge.START else 'E'}"


def drawn_height(track: Track, wide: float) -> float:
    """How tall a drawing of this width is at most."""
    outer = edge_radius(track, track.lanes)
    return (wide - 2 * ROOM) * 2 * outer / (track.straight_m + 2 * outer) + 2 * ROOM


def draw_crew_on_track(
    flow: Flow, drawn: CrewOnTrack, corner: Point, room: tuple[float, float]
) -> None:
    """Draw it into a rectangle, its upper left corner and its size given in points."""
    track, (left, top), (wide, tall) = drawn.track, corner, room
    outer = edge_radius(track, track.lanes)
    full = track.straight_m + 2 * outer
    size = min((wide - 2 * ROOM) / full, (tall - 2 * ROOM) / (2 * outer))
    view = _View(track, size, left + wide / 2, top + tall / 2)
    says = (
        f"The zones of the {drawn.relay} on the track, seen from above, with names at their edges, "
        "the finish line, and an arrow the way it is run."
    )
    with flow.inside(flow.tag("Figure", says)):
        flow.put(*_draw_ground(view))
        for places in drawn.zones.values():
            flow.put(*_draw_zone(view, places))
        flow.put(*_draw_finish(flow, view))
        flow.put(*_draw_names(flow, view, drawn))
        line = flow.typesetter.set_line(drawn.relay, "the drawing", TITLE, Weight.BOLD)
        flow.put(SetText(view.x - line.width / 2, view.y + TITLE * 0.36, line, tag=flow.within))


def _draw_ground(view: _View) -> Iterator[Shape]:
    track = view.track
    lap = lap_length(track, 1)
    for edge, thickness in ((0, 0.8), (track.lanes, 0.5)):
        radius = edge_radius(track, edge)
        points = (view.at(1, lap * step / STEPS, radius) for step in range(STEPS + 1))
        yield Trace(tuple(points), thickness)


def _draw_zone(view: _View, places: tuple[ZonePlace, ...]) -> Iterator[Shape]:
    track = view.track
    for lane, place in enumerate(places, 1):
        inner, outer = edge_radius(track, lane - 1), edge_radius(track, lane)
        start, end = place.start.past_finish_m, place.end.past_finish_m
        along = [start + (end - start) * step / 6 for step in range(7)]
        there = [view.at(lane, at, inner) for at in along]
        back = [view.at(lane, at, outer) for at in reversed(along)]
        yield Area((*there, *back), grey=0.78)
    for lane, place in enumerate(places, 1):
        inner, outer = edge_radius(track, lane - 1), edge_radius(track, lane)
        for at in (place.start.past_finish_m, place.end.past_finish_m):
            yield Trace((view.at(lane, at, inner), view.at(lane, at, outer)), 1.2)


def _draw_finish(flow: Flow, view: _View) -> Iterator[Shape]:
    """With its name in the field, where no edge has its own, and the arrow to it."""
    inner, outer = edge_radius(view.track, 0), edge_radius(view.track, view.track.lanes)
    yield Trace((view.at(1, 0.0, inner, -INTO_FIELD), view.at(1, 0.0, outer)), 0.7, (2.0, 1.0))
    line = flow.typesetter.set_line("finish", "the drawing", NAME, Weight.REGULAR)
    x, y = view.at(1, 0.0, inner, -INTO_FIELD - NAME * 0.7)
    begin = x - line.width / 2
    yield SetText(begin, y + NAME * 0.36, line, tag=flow.within)
    tip = begin - 4.0
    yield Trace(((tip - ARROW, y), (tip - 5.0, y)), 0.7)
    yield Area(((tip, y), (tip - 6.0, y - 2.5), (tip - 6.0, y + 2.5)), grey=0.0)


def _draw_names(flow: Flow, view: _View, drawn: CrewOnTrack) -> Iterator[Shape]:
    outer, taken = edge_radius(view.track, view.track.lanes), list[tuple[Point, float]]()
    for names, lane, at in _places(drawn):
        line = flow.typesetter.set_line(" ".join(names), "the drawing", NAME, Weight.BOLD)
        away = AWAY
        while _covers(spot := view.at(lane, at, outer, away), line, taken):
            away += FARTHER
        taken.append((spot, line.width))
        yield SetText(spot[0] - line.width / 2, spot[1] + NAME * 0.36, line, tag=flow.within)


def _places(drawn: CrewOnTrack) -> list[tuple[list[str], int, float]]:
    """The names at each place, beside the outermost lane."""
    found: list[tuple[list[str], int, float]] = []
    for take_over, places in drawn.zones.items():
        lane, place = len(places), places[-1]
        for edge, at in (
            (Edge.START, place.start.past_finish_m),
            (Edge.END, place.end.past_finish_m),
        ):
            near = [one for one in found if abs(one[2] - at) < SAME_PLACE_M]
            if near:
                near[0][0].append(name_of(take_over, edge))
            else:
                found.append(([name_of(take_over, edge)], lane, at))
    return found


def _covers(spot: Point, line: Line, taken: list[tuple[Point, float]]) -> bool:
    return any(
        abs(spot[0] - x) < (line.width + width) / 2 + 2.0 and abs(spot[1] - y) < NAME
        for (x, y), width in taken
    )

"""Who stands where, as figures to be drawn: the whole track, and each zone of it enlarged.

What is reckoned here are metres on a plan (`rules/on_plan.py`) and, for an enlarged zone, metres
along each lane from the start of its own zone, so that all lanes begin under each other; there only
the direction of running is to scale. Nothing here has words: `_track_plan.svg.html` takes them from
the page. Marks of one place stand clear of each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from app.crew.wire import PostOut
from app.meets.wire import HeatOut
from app.plurals import runs
from app.rules.book_parts import ZoneRule
from app.rules.cover import PostPlace, uncovered
from app.rules.on_plan import (
    Spot,
    area_along,
    edge_radius,
    line_across,
    loop,
    spot_at,
)
from app.rules.relay import Edge, Relay, Side
from app.rules.track import Track, zone_on_track

MARK_M = 2.9  # the radius of a post's mark, of the sign at an unwatched edge, of a zone's label
UPRIGHT_MARK_M = 5.6  # in a picture that stands upright, on a phone
SIGN_M = 2.6
LABEL_M = 7.0
FURTHER_M = 4.0  # each further number in a label
BESIDE_M = 3.6  # from the track's edge to the middle of the first mark
LABEL_BESIDE_M = 15.0
FINISH_M = 13.0
FINISH_BESIDE_M = 7.0
DIRECTION_BESIDE_M = 7.0
STEP_M = 1.0
CLEAR_M = 0.5
MARGIN_M = 3.0
ONE_LABEL_M = 14.0
"""Zones whose labels would come nearer than this to each other have one together."""


@dataclass(frozen=True, slots=True)
class Box:
    """What of the plan a picture shows."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class ZoneFigure:
    """The zone of a take-over in one lane, as path data; no acceleration zone is an empty text."""

    take_over: int
    lane: int
    area: str
    acceleration: str
    start: str
    leg_line: str
    end: str


@dataclass(frozen=True, slots=True)
class PostMark:
    """A post beside the edge that it watches, with its number in the whole plan."""

    number: int
    post: PostOut
    at: Spot


@dataclass(frozen=True, slots=True)
class GapMark:
    """Lanes side by side of an edge that nobody watches: their lines, and where a sign stands."""

    take_over: int
    edge: Edge
    lanes: tuple[int, ...]
    lines: str
    at: Spot


@dataclass(frozen=True, slots=True)
class ZoneLabel:
    """Where the numbers of take-overs stand; several where their zones lie at one place."""

    take_overs: tuple[int, ...]
    at: Spot


@dataclass(frozen=True, slots=True)
class TrackPlan:
    """The whole track. `surface` is its ground, with the infield left out (even-odd); `direction`
    is the middle of an arrow to the right, which tells how it is run; `mark_m` is the radius of a
    post's mark.
    """

    box: Box
    mark_m: float
    surface: str
    lane_lines: tuple[str, ...]
    finish: str
    finish_line_ends: Spot
    finish_at: Spot
    zones: tuple[ZoneFigure, ...]
    posts: tuple[PostMark, ...]
    gaps: tuple[GapMark, ...]
    labels: tuple[ZoneLabel, ...]
    direction: Spot


@dataclass(frozen=True, slots=True)
class Crew:
    """A relay on a track, its zones by take-over, and the posts of the whole crew: for one heat, or
    for all of the relay.
    """

    track: Track
    relay: Relay
    zones: Mapping[int, ZoneRule]
    posts: Sequence[PostOut]
    heat: HeatOut | None = None

    @property
    def numbered(self) -> list[tuple[int, PostOut]]:
        """The posts that stand for the relay, with their numbers, which are the same everywhere:
        those of the whole plan, so that a post has one number for all relays.
        """
        return [
            (number, one)
            for number, one in enumerate(self.posts, 1)
            if stands_for(one, self.relay, self.heat)
        ]

    @property
    def lanes(self) -> range:
        """All lanes, and the further places on the line that a post watches."""
        watched = (lane for _, post in self.numbered for lane in post.lanes)
        return range(1, max([self.track.lanes, *watched]) + 1)

    def place(self, take_over: int, edge: Edge, lane: int) -> float:
        """Where an edge lies in a lane, in metres past the finish line."""
        zone = zone_on_track(self.track, self.relay, take_over, lane, self.zones[take_over])
        return zone.start.past_finish_m if edge is Edge.START else zone.end.past_finish_m

    def unwatched(self) -> Iterator[tuple[int, Edge, tuple[int, ...]]]:
        """Lanes side by side that nobody watches, edge by edge."""
        places = [
            PostPlace(post.id, post.take_over, post.edge, frozenset(post.lanes))
            for _, post in self.numbered
        ]
        in_use = self.lanes if self.heat is None else [one.lane for one in self.heat.lanes]
        gaps = uncovered(places, in_use, self.zones)
        for (take_over, edge), found in groupby(gaps, key=lambda gap: (gap.take_over, gap.edge)):
            for run in runs(gap.lane for gap in found):
                yield take_over, edge, run


def stands_for(post: PostOut, relay: Relay, heat: HeatOut | None) -> bool:
    """Whether a post is for a relay, and for this heat of it."""
    is_for_relay = not post.relays or relay in post.relays
    return is_for_relay and (heat is None or not post.heats or heat.id in post.heats)


def plan_track(crew: Crew, mark_m: float = MARK_M) -> TrackPlan:
    """The whole track with the relay's zones, its posts, and what they leave unwatched."""
    track = crew.track
    inner, outer = loop(track, edge_radius(track, 0)), loop(track, edge_radius(track, track.lanes))
    beside = _Beside(track, mark_m)
    posts = tuple(PostMark(number, post, beside.post(crew, post)) for number, post in crew.numbered)
    gaps = tuple(_gap(crew, beside, *gap) for gap in crew.unwatched())
    labels = tuple(_labels(crew, beside))  # after the marks, which stand as near as they can
    finish_at = beside.put(1, 0.0, Side.OUTSIDE, FINISH_BESIDE_M, FINISH_M)
    return TrackPlan(
        box=beside.box(),
        mark_m=mark_m,
        surface=outer.path + inner.path,
        lane_lines=tuple(
            loop(track, edge_radius(track, edge)).path for edge in range(track.lanes + 1)
        ),
        finish="".join(line_across(track, lane, 0.0).path for lane in _drawn(crew)),
        finish_line_ends=beside.spot(1, 0.0, Side.OUTSIDE, 0.0),
        finish_at=finish_at,
        zones=tuple(
            _zone(crew, take_over, lane) for take_over in crew.zones for lane in _drawn(crew)
        ),
        posts=posts,
        gaps=gaps,
        labels=labels,
        direction=beside.spot(1, -track.straight_m / 2, Side.INSIDE, DIRECTION_BESIDE_M),
    )


def _drawn(crew: Crew) -> range:
    return range(1, crew.track.lanes + 1)


def _zone(crew: Crew, take_over: int, lane: int) -> ZoneFigure:
    track = crew.track
    zone = zone_on_track(track, crew.relay, take_over, lane, crew.zones[take_over])
    start, end = zone.start.past_finish_m, zone.end.past_finish_m
    before = zone.acceleration_start
    return ZoneFigure(
        take_over=take_over,
        lane=lane,
        area=area_along(track, lane, start, end).path,
        acceleration=area_along(track, lane, before.past_finish_m, start).path if before else "",
        start=line_across(track, lane, start).path,
        leg_line=line_across(track, lane, zone.leg_line.past_finish_m).path,
        end=line_across(track, lane, end).path,
    )


def _labels(crew: Crew, beside: _Beside) -> Iterator[ZoneLabel]:
    """One label for zones at one place, in the infield."""
    groups: list[list[tuple[int, float]]] = []
    for take_over in crew.zones:
        middle = (crew.place(take_over, Edge.START, 1) + crew.place(take_over, Edge.END, 1)) / 2
        at = beside.spot(1, middle, Side.INSIDE, LABEL_BESIDE_M)
        near = [
            group
            for group in groups
            if at.away_from(beside.spot(1, group[0][1], Side.INSIDE, LABEL_BESIDE_M)) < ONE_LABEL_M
        ]
        if near:
            near[0].append((take_over, middle))
        else:
            groups.append([(take_over, middle)])
    for group in groups:
        radius = LABEL_M + FURTHER_M * (len(group) - 1)
        at = beside.put(1, group[0][1], Side.INSIDE, LABEL_BESIDE_M, radius)
        yield ZoneLabel(tuple(take_over for take_over, _ in group), at)


def _gap(
    crew: Crew, beside: _Beside, take_over: int, edge: Edge, lanes: tuple[int, ...]
) -> GapMark:
    there = [lane for lane in lanes if lane in _drawn(crew)] or [crew.track.lanes]
    lines = (line_across(crew.track, lane, crew.place(take_over, edge, lane)) for lane in there)
    middle = there[len(there) // 2]
    place = crew.place(take_over, edge, middle)
    at = beside.put(middle, place, Side.OUTSIDE, BESIDE_M, SIGN_M)
    return GapMark(take_over, edge, lanes, "".join(line.path for line in lines), at)


@dataclass(slots=True)
class _Beside:
    """The ground on both sides of the track, where marks stand clear of each other."""

    track: Track
    mark_m: float
    taken: list[tuple[Spot, float]] = field(default_factory=list)
    reached: dict[tuple[int, float, Side, float], float] = field(default_factory=dict)
    """How far out a place was full for marks of a radius: what is taken stays so."""

    def spot(self, lane: int, past_finish: float, side: Side, away: float) -> Spot:
        """A spot so far from the track's edge, beside a place of a lane."""
        inside = side is Side.INSIDE
        edge = edge_radius(self.track, 0 if inside else self.track.lanes)
        return spot_at(self.track, lane, past_finish, edge + (-away if inside else away))

    def put(self, lane: int, past_finish: float, side: Side, away: float, radius: float) -> Spot:
        """The nearest free spot for a mark; it is taken from then on."""
        place = (lane, past_finish, side, radius)
        away = max(away, self.reached.get(place, away))
        at = self.spot(lane, past_finish, side, away)
        while any(at.away_from(spot) < radius + other + CLEAR_M for spot, other in self.taken):
            away += STEP_M
            at = self.spot(lane, past_finish, side, away)
        self.reached[place] = away
        self.taken.append((at, radius))
        return at

    def post(self, crew: Crew, post: PostOut) -> Spot:
        """Beside the middle of what it watches, on its side of the track."""
        lanes = sorted(lane for lane in post.lanes if lane <= self.track.lanes)
        lane = lanes[len(lanes) // 2] if lanes else self.track.lanes
        place = crew.place(post.take_over, post.edge, lane)
        return self.put(lane, place, post.side, self.mark_m + BESIDE_M - MARK_M, self.mark_m)

    def box(self) -> Box:
        """What holds the track and all marks."""
        low = edge_radius(self.track, self.track.lanes)
        wide = self.track.straight_m / 2 + low
        left = min([-wide, *(spot.x - radius for spot, radius in self.taken)]) - MARGIN_M
        right = max([wide, *(spot.x + radius for spot, radius in self.taken)]) + MARGIN_M
        top = min([-low, *(spot.y - radius for spot, radius in self.taken)]) - MARGIN_M
        bottom = max([low, *(spot.y + radius for spot, radius in self.taken)]) + MARGIN_M
        return Box(left, top, right - left, bottom - top)

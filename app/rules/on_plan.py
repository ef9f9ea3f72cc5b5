"""Where on a plan of the track does a place lie, and along which lines and bows does a way run?

The plan is in metres, seen from above, with the middle of the infield at 0, 0. The home straight
lies below and is run from left to right, as tracks are drawn; x grows to the right, y downwards as
on a screen. A bend is a half circle about the end of the straights, so what is told of a place in
metres along its lane's measuring line stands on one ray with it across all lanes. Distances along
lanes are those of `track.py`; how thick a line is drawn is for whoever draws.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import asin, cos, hypot, pi, sin

from app.rules.track import Track, lap_length, running_radius

DIGITS = 4  # of a metre: a tenth of a millimetre


@dataclass(frozen=True, slots=True)
class Spot:
    """A point on the plan, in metres."""

    x: float
    y: float

    def away_from(self, other: "Spot") -> float:
        """The straight distance to another one."""
        return hypot(self.x - other.x, self.y - other.y)


@dataclass(frozen=True, slots=True)
class Piece:
    """A line to a spot, or with a radius a bow of at most a quarter of a circle; `back` is against
    the direction of running.
    """

    to: Spot
    radius: float = 0.0
    back: bool = False


@dataclass(frozen=True, slots=True)
class Way:
    """Pieces that hang together."""

    start: Spot
    pieces: tuple[Piece, ...]
    closed: bool = False

    @property
    def length(self) -> float:
        """How long it is, in metres, without what closes it."""
        here, total = self.start, 0.0
        for piece in self.pieces:
            chord = here.away_from(piece.to)
            total += 2 * piece.radius * asin(chord / (2 * piece.radius)) if piece.radius else chord
            here = piece.to
        return total

    @property
    def path(self) -> str:
        """The way as path data (SVG 2, 9.3), in metres."""
        steps = [f"M{_write(self.start.x)} {_write(self.start.y)}"]
        for piece in self.pieces:
            bow = f"A{_write(piece.radius)} {_write(piece.radius)} 0 0 {int(piece.back)} "
            there = f"{_write(piece.to.x)} {_write(piece.to.y)}"
            steps.append(f"{bow}{there}" if piece.radius else f"L{there}")
        return "".join([*steps, "Z" if self.closed else ""])


def _write(metres: float) -> str:
    return f"{round(metres, DIGITS) + 0.0:.{DIGITS}f}".rstrip("0").rstrip(".")


def edge_radius(track: Track, edge: int) -> float:
    """The radius of a line between lanes: 0 is the inner edge of lane 1, 1 its outer edge, …"""
    return track.radius_m + track.lane_width_m * edge


def spot_at(track: Track, lane: int, past_finish: float, radius: float) -> Spot:
    """Where the ray through a place of a lane meets a radius; metres from the finish line, along
    the lane.
    """
    bend, half = pi * running_radius(track, lane), track.straight_m / 2
    rest = past_finish % lap_length(track, lane)
    if rest < bend:
        turned = rest / bend * pi
        return Spot(half + radius * sin(turned), radius * cos(turned))
    rest -= bend
    if rest < track.straight_m:
        return Spot(half - rest, -radius)
    rest -= track.straight_m
    if rest < bend:
        turned = rest / bend * pi
        return Spot(-half - radius * sin(turned), -radius * cos(turned))
    return Spot(rest - bend - half, radius)


def way_along(track: Track, lane: int, first: float, last: float, radius: float) -> Way:
    """The way at a radius beside a stretch of a lane, from `first` to `last` metres past the finish
    line as they are counted along that lane; against the direction of running where `last` is less.
    """
    low, high = min(first, last), max(first, last)
    joints = [low, *_joints(track, lane, low, high), high]
    back = last < first
    if back:
        joints.reverse()
    pieces = []
    for here, there in pairwise(joints):
        bends = _is_on_bend(track, lane, (here + there) / 2)
        to = spot_at(track, lane, there, radius)
        pieces.append(Piece(to, radius if bends else 0.0, back))
    return Way(spot_at(track, lane, first, radius), tuple(pieces))


def _joints(track: Track, lane: int, low: float, high: float) -> Iterator[float]:
    """Where a stretch goes over from one piece to the next; a bend is two quarters."""
    bend, lap = pi * running_radius(track, lane), lap_length(track, lane)
    straight = track.straight_m
    within = (0.0, bend / 2, bend, bend + straight, bend * 1.5 + straight, 2 * bend + straight)
    first, last = int(low // lap), int(high // lap)
    for number in range(first, last + 1):
        for joint in within:
            if low < number * lap + joint < high:
                yield number * lap + joint


def _is_on_bend(track: Track, lane: int, past_finish: float) -> bool:
    bend = pi * running_radius(track, lane)
    rest = past_finish % lap_length(track, lane)
    return rest < bend or bend + track.straight_m <= rest < 2 * bend + track.straight_m


def loop(track: Track, radius: float) -> Way:
    """A whole lap at a radius, such as a line between lanes, from the finish line."""
    once = way_along(track, 1, 0.0, lap_length(track, 1), radius)
    return Way(once.start, once.pieces, closed=True)


def area_along(track: Track, lane: int, first: float, last: float) -> Way:
    """The ground of a lane from `first` to `last` metres past the finish line."""
    inner, outer = edge_radius(track, lane - 1), edge_radius(track, lane)
    there = way_along(track, lane, first, last, inner)
    home = way_along(track, lane, last, first, outer)
    return Way(there.start, (*there.pieces, Piece(home.start), *home.pieces), closed=True)


def line_across(track: Track, lane: int, past_finish: float) -> Way:
    """The line that crosses a lane at a place."""
    inner, outer = edge_radius(track, lane - 1), edge_radius(track, lane)
    there = spot_at(track, lane, past_finish, outer)
    return Way(spot_at(track, lane, past_finish, inner), (Piece(there),))

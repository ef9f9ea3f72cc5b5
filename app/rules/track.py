"""Where on the track does each lane start, and where do its take-over zones lie?

For a 400 m track of two straights and two half circles. Running distance is measured 0.30 m
outside a kerb and 0.20 m outside a line (World Athletics track facilities practice). A race that
leaves its lanes at the break line starts farther on by `break_offset`. Results agree with the
stagger table of the IAAF Track and Field Facilities Manual 2008 within 0.005 m; that table rounds
upward to millimetres. Where marks are painted, and how wide, is for the track's surveyor.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import acos, atan2, hypot, isfinite, pi, sqrt
from types import MappingProxyType
from typing import Final

from app.rules.book_parts import ZoneRule
from app.rules.relay import Relay

FROM_KERB_M: Final = 0.30
FROM_LINE_M: Final = 0.20
MOST_LANES: Final = 10
LEAST_LAP_M: Final = 398.0
MOST_LAP_M: Final = 402.0
HALVINGS: Final = 60  # of an interval under 2 m: far below a micrometre
LAP_M: Final = 400
BEFORE_FINISH_M: Final = 50.0  # leg lines this near the finish count as negative metres


class Section(StrEnum):
    """A part of the lap, in the order it is run from the finish line."""

    BEND_1 = "bend1"
    BACK = "back"
    BEND_2 = "bend2"
    HOME = "home"


@dataclass(frozen=True, slots=True)
class Track:
    """A 400 m track; the radius reaches to the kerb, or to the inner line where there is none."""

    radius_m: float = 36.50
    straight_m: float = 84.39
    lane_width_m: float = 1.22
    lanes: int = 8
    kerb: bool = True

    def __post_init__(self) -> None:
        measures = (self.radius_m, self.straight_m, self.lane_width_m)
        if not all(isfinite(measure) and measure > 0 for measure in measures):
            raise ValueError("Radius, straight and lane width of a track must be more than 0 m.")
        if not 1 <= self.lanes <= MOST_LANES:
            raise ValueError(f"A track has 1 to {MOST_LANES} lanes, not {self.lanes}.")
        if not 0.9 <= self.lane_width_m <= 1.5:
            raise ValueError(f"A lane is 0.90 to 1.50 m wide, not {self.lane_width_m:g} m.")
        lap = lap_length(self, 1)
        if not LEAST_LAP_M <= lap <= MOST_LAP_M:
            raise ValueError(
                f"One lap in lane 1 would be {lap:.2f} m, so this is no 400 m track: "
                "check the radius and the straight."
            )


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the measuring line of a lane.

    `metres` count from the beginning of the section, `past_finish_m` from the finish line;
    the latter is negative just before the finish.
    """

    section: Section
    metres: float
    past_finish_m: float


@dataclass(frozen=True, slots=True)
class ZonePlace:
    """Where the zone of a take-over lies in one lane."""

    start: Place
    leg_line: Place
    end: Place
    acceleration_start: Place | None


@dataclass(frozen=True, slots=True)
class _InLanes:
    """How many bends are run in lanes, and whether a break line follows them."""

    bends: int
    then_break: bool


_BENDS_IN_LANES: Final[Mapping[Relay, _InLanes]] = MappingProxyType(
    {  # 4x100 and 4x400: federation pages on TR24; the others from memory
        Relay.FOUR_BY_100: _InLanes(2, then_break=False),
        Relay.FOUR_BY_200: _InLanes(4, then_break=False),
        Relay.FOUR_BY_400: _InLanes(3, then_break=True),
        Relay.FOUR_BY_800: _InLanes(1, then_break=True),
        Relay.MEDLEY: _InLanes(2, then_break=True),
    }
)


def running_radius(track: Track, lane: int) -> float:
    """The radius of the line along which a lane is measured, in metres."""
    _check_lane(track, lane)
    if lane == 1 and track.kerb:
        return track.radius_m + FROM_KERB_M
    return track.radius_m + track.lane_width_m * (lane - 1) + FROM_LINE_M


def lap_length(track: Track, lane: int) -> float:
    """One lap along the measuring line of a lane, in metres."""
    return 2 * track.straight_m + 2 * pi * running_radius(track, lane)


def stagger(track: Track, lane: int, bends: int) -> float:
    """How much farther on a lane starts when this many bends are run in lanes, in metres."""
    if bends < 0:
        raise ValueError("A race cannot have fewer than no bends in lanes.")
    return bends * pi * (running_radius(track, lane) - running_radius(track, 1))


def break_offset(track: Track, lane: int) -> float:
    """How much farther on a lane starts because it crosses to lane 1 at the break line.

    At this distance past the bend the straight tangent to lane 1's measuring arc in the next
    bend is as long as lane 1's own way to the same point; found by halving.
    """
    if running_radius(track, lane) <= running_radius(track, 1):
        return 0.0
    least, most = 0.0, track.straight_m / 2
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        if _crossing_excess(track, lane, middle) > 0:
            least = middle
        else:
            most = middle
    return (least + most) / 2


def _crossing_excess(track: Track, lane: int, past_bend: float) -> float:
    """How much longer the tangent from here is than lane 1's way from the end of the bend."""
    inner, outer = running_radius(track, 1), running_radius(track, lane)
    along = track.straight_m - past_bend
    distance = hypot(along, outer)
    tangent = sqrt(distance**2 - inner**2)
    turned = acos(inner / distance) - atan2(along, outer)
    return tangent - (track.straight_m + inner * turned)


def start_stagger(track: Track, lane: int, relay: Relay) -> float:
    """How much farther on a lane starts in a relay, in metres."""
    in_lanes = _BENDS_IN_LANES[relay]
    offset = break_offset(track, lane) if in_lanes.then_break else 0.0
    return stagger(track, lane, in_lanes.bends) + offset


def zone_on_track(
    track: Track, relay: Relay, take_over: int, lane: int, zone_rule: ZoneRule
) -> ZonePlace:
    """Where the zone of a take-over lies in a lane."""
    leg_line = _leg_line(track, relay, take_over, lane)
    start = leg_line - zone_rule.leg_line_m
    acceleration = start - zone_rule.acceleration_m
    return ZonePlace(
        start=_place(track, lane, start),
        leg_line=_place(track, lane, leg_line),
        end=_place(track, lane, start + zone_rule.length_m),
        acceleration_start=_place(track, lane, acceleration) if zone_rule.acceleration_m else None,
    )


def _leg_line(track: Track, relay: Relay, take_over: int, lane: int) -> float:
    """Metres from the finish line, along the lane, to where a leg ends."""
    if not 1 <= take_over <= relay.take_overs:
        raise ValueError(f"The {relay} has no take-over {take_over}: choose 1, 2 or 3.")
    lap = lap_length(track, lane)
    remaining = sum(relay.legs[take_over:])
    if not _BENDS_IN_LANES[relay].then_break:
        return _past_finish(-remaining, lap)
    return _past_finish(_before_break(track, relay, take_over, lane), lap)


def _before_break(track: Track, relay: Relay, take_over: int, lane: int) -> float:
    """Where a leg ends in a relay that leaves its lanes at the end of the first bend.

    Whole laps after it are run in lane 1 and bring it back to the finish line, whatever
    millimetres a lap has above 400 m. A take-over that is still in lanes has the first bend
    ahead of it, or has run it, in its own lane, and the crossing to lane 1 after that: it lies
    farther on by as much as the start of an 800 m race (4x400: Swiss federation data sheet 2016,
    item c). The other take-overs lie alike in all lanes.
    """
    from_finish = float(-(sum(relay.legs[take_over:]) % LAP_M))
    if from_finish < -LAP_M / 2:
        from_finish += lap_length(track, 1)
    if take_over > relay.take_overs_in_lanes:
        return from_finish
    return from_finish + stagger(track, lane, 1) + break_offset(track, lane)


def _past_finish(metres: float, lap: float) -> float:
    """The same point less than a lap past the finish, or a little before it."""
    past_finish = metres % lap
    return past_finish - lap if past_finish > lap - BEFORE_FINISH_M else past_finish


def _place(track: Track, lane: int, past_finish: float) -> Place:
    bend = pi * running_radius(track, lane)
    rest = past_finish % lap_length(track, lane)
    before_home = ((Section.BEND_1, bend), (Section.BACK, track.straight_m), (Section.BEND_2, bend))
    for section, length in before_home:
        if rest < length:
            return Place(section, rest, past_finish)
        rest -= length
    return Place(Section.HOME, rest, past_finish)


def _check_lane(track: Track, lane: int) -> None:
    if not 1 <= lane <= track.lanes:
        raise ValueError(f"This track has lanes 1 to {track.lanes}, not {lane}.")

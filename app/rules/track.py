"""Where on the track does each lane start, and where do its take-over zones lie?

For a track of 400 m, or an oval of 200 m, of two straights and two half circles. Running distance
is measured 0.30 m outside a kerb and 0.20 m outside a line (World Athletics track facilities
practice). A race that leaves its lanes at the break line starts farther on by `break_offset`.
Results agree with the stagger table of the IAAF Track and Field Facilities Manual 2008 within
0.005 m; that table rounds upward to millimetres. How a line is found on the track with a tape is
for `survey.py`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import acos, atan2, hypot, isfinite, pi, sqrt
from types import MappingProxyType
from typing import Final

from app.rules.book_parts import ZoneRule
from app.rules.relay import Relay

FROM_KERB_M: Final = 0.30
FROM_LINE_M: Final = 0.20
MOST_LANES: Final = 10
NARROWEST_LANE_M: Final = 0.9
WIDEST_LANE_M: Final = 1.5
OFF_BY_M: Final = 2.0
LAP_WITHIN_M: Final = 0.1
"""Of a lap whose radius and straights are told to the centimetre; common practice."""
LEAST_PART_M: Final = 5.0
"""No bend has a smaller radius, and no straight is shorter; common practice."""
HALVINGS: Final = 60  # of an interval under 2 m: far below a micrometre
LAP_M: Final = 400
OVAL_M: Final = 200
LAPS_M: Final = (LAP_M, OVAL_M)
FOUR_BY_200_BENDS: Final = (4, 3, 1)
BEFORE_FINISH_M: Final = 50.0  # leg lines this near the finish count as negative metres


class Section(StrEnum):
    """A part of the lap, in the order it is run from the finish line."""

    BEND_1 = "bend1"
    BACK = "back"
    BEND_2 = "bend2"
    HOME = "home"

    @property
    def is_bend(self) -> bool:
        return self in (Section.BEND_1, Section.BEND_2)


@dataclass(frozen=True, slots=True)
class Track:
    """A track; the radius reaches to the kerb, or to the inner line where there is none.

    `four_by_200_bends` is how many bends of a 4x200 the meet runs in lanes: all four, or three or
    one and then to the break line (TR24, number from memory; on an oval the rule leaves no choice).
    """

    radius_m: float = 36.50
    straight_m: float = 84.39
    lane_width_m: float = 1.22
    lanes: int = 8
    kerb: bool = True
    four_by_200_bends: int = 4

    def __post_init__(self) -> None:
        measures = (self.radius_m, self.straight_m, self.lane_width_m)
        if not all(isfinite(measure) and measure > 0 for measure in measures):
            raise ValueError("Radius, straight and lane width of a track must be more than 0 m.")
        if min(self.radius_m, self.straight_m) < LEAST_PART_M:
            raise ValueError(
                f"A track has no bend of less than {LEAST_PART_M:g} m and no shorter straight. "
                "Give them in metres."
            )
        if max(measures) > max(LAPS_M):
            raise ValueError(
                f"A track has no radius, straight or lane of more than {max(LAPS_M)} m. Give them "
                "in metres."
            )
        if not 1 <= self.lanes <= MOST_LANES:
            raise ValueError(f"A track has 1 to {MOST_LANES} lanes, not {self.lanes}.")
        if not NARROWEST_LANE_M <= self.lane_width_m <= WIDEST_LANE_M:
            raise ValueError(
                f"A lane is {NARROWEST_LANE_M:.2f} to {WIDEST_LANE_M:.2f} m wide, not "
                f"{self.lane_width_m:g} m."
            )
        if self.four_by_200_bends not in FOUR_BY_200_BENDS:
            raise ValueError(
                f"A 4x200 is run with 4, 3 or 1 bends in lanes, not {self.four_by_200_bends}."
            )
        lap = lap_length(self, 1)
        if all(abs(lap - known) > OFF_BY_M for known in LAPS_M):
            raise ValueError(
                f"One lap in lane 1 would be {lap:.2f} m, so this is no 400 m track and no oval of "
                "200 m: check the radius and the straight."
            )

    @property
    def lap_m(self) -> int:
        """The lap as people call it: 400 m, or 200 m of an oval."""
        return OVAL_M if abs(lap_length(self, 1) - OVAL_M) <= OFF_BY_M else LAP_M

    @property
    def lap_off_m(self) -> float:
        """By how much the lap in lane 1, by these measures, is longer than people call it."""
        return lap_length(self, 1) - self.lap_m


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
class InLanes:
    """How many bends are run in lanes, whether a break line follows them, and how many of the first
    take-overs come before it. A break line with take-overs before it follows the first bend of a
    lap.
    """

    bends: int
    then_break: bool
    take_overs: int


_IN_LANES: Final[Mapping[tuple[int, Relay], InLanes]] = MappingProxyType(
    {  # 4x100 and 4x400: federation pages on TR24; the others from memory
        (LAP_M, Relay.FOUR_BY_100): InLanes(2, then_break=False, take_overs=3),
        (LAP_M, Relay.FOUR_BY_400): InLanes(3, then_break=True, take_overs=1),
        (LAP_M, Relay.FOUR_BY_800): InLanes(1, then_break=True, take_overs=0),
        (LAP_M, Relay.MEDLEY): InLanes(2, then_break=True, take_overs=2),
        # 4x200: Irish federation's relay document as quoted by a club; the others from memory
        (OVAL_M, Relay.FOUR_BY_200): InLanes(3, then_break=True, take_overs=1),
        (OVAL_M, Relay.FOUR_BY_400): InLanes(2, then_break=True, take_overs=0),
        (OVAL_M, Relay.FOUR_BY_800): InLanes(1, then_break=True, take_overs=0),
    }
)
_FOUR_BY_200: Final[Mapping[int, InLanes]] = MappingProxyType(
    {  # three bends: a public page of sports definitions; four and one from memory
        4: InLanes(4, then_break=False, take_overs=3),
        3: InLanes(3, then_break=True, take_overs=2),
        1: InLanes(1, then_break=True, take_overs=0),
    }
)


def is_run_on(track: Track, relay: Relay) -> bool:
    """Whether it is known how this relay is run there: on an oval 4x200, 4x400 and 4x800 alone."""
    return track.lap_m == LAP_M or (OVAL_M, relay) in _IN_LANES


def in_lanes_on_oval(relay: Relay) -> int | None:
    """How many of the first take-overs are in lanes on an oval; None for a relay that none has."""
    run = _IN_LANES.get((OVAL_M, relay))
    return None if run is None else run.take_overs


def in_lanes(track: Track, relay: Relay) -> InLanes:
    """What of a relay is run in lanes; ValueError for one that no oval has."""
    if (track.lap_m, relay) == (LAP_M, Relay.FOUR_BY_200):
        return _FOUR_BY_200[track.four_by_200_bends]
    if not is_run_on(track, relay):
        raise ValueError(f"How a {relay} is run on an oval of 200 m is not known here.")
    return _IN_LANES[track.lap_m, relay]


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


@lru_cache(maxsize=512)
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
    run, lap = in_lanes(track, relay), lap_length(track, lane)
    remaining = sum(relay.legs[take_over:])
    if not run.then_break:
        return _past_finish(-remaining, lap)
    in_lane_1 = _in_lane_1(track, remaining)
    if take_over > run.take_overs:  # one leg line for all, straight across the track
        return _past_finish(abreast(track, in_lane_1, lane, 1), lap)
    # Ahead lie the first bend, in the own lane, and the crossing to lane 1: by as much as an 800 m
    # race starts farther on, so does this (4x400: Swiss federation data sheet 2016, item c).
    return _past_finish(in_lane_1 + stagger(track, lane, 1) + break_offset(track, lane), lap)


def _in_lane_1(track: Track, remaining: float) -> float:
    """Where lane 1 has so many metres to the finish; negative before the finish line.

    Whole laps after the break line are run in lane 1 and bring it back to the finish line, whatever
    millimetres a lap has above its 400 or 200 m.
    """
    from_finish = -(remaining % track.lap_m)
    return from_finish + lap_length(track, 1) if from_finish < -track.lap_m / 2 else from_finish


def abreast(track: Track, past_finish: float, lane: int, of_lane: int) -> float:
    """How far past the finish a lane is straight across the track from a place of another lane."""
    laps, rest = divmod(past_finish, lap_length(track, of_lane))
    metres = laps * lap_length(track, lane)
    for section in Section:
        there = section_length(track, of_lane, section)
        here = section_length(track, lane, section)
        if rest <= there:
            return metres + here * rest / there
        metres, rest = metres + here, rest - there
    return metres


def _past_finish(metres: float, lap: float) -> float:
    """The same point less than a lap past the finish, or a little before it."""
    past_finish = metres % lap
    return past_finish - lap if past_finish > lap - BEFORE_FINISH_M else past_finish


def _place(track: Track, lane: int, past_finish: float) -> Place:
    rest = past_finish % lap_length(track, lane)
    for section, length in _sections(track, lane)[:-1]:
        if rest < length:
            return Place(section, rest, past_finish)
        rest -= length
    return Place(Section.HOME, rest, past_finish)


def _sections(track: Track, lane: int) -> tuple[tuple[Section, float], ...]:
    """The parts of a lap in a lane with their lengths, from the finish line on."""
    return tuple((section, section_length(track, lane, section)) for section in Section)


def section_length(track: Track, lane: int, section: Section) -> float:
    """How long a part of the lap is in a lane, in metres."""
    return pi * running_radius(track, lane) if section.is_bend else track.straight_m


def _check_lane(track: Track, lane: int) -> None:
    if not 1 <= lane <= track.lanes:
        raise ValueError(f"This track has lanes 1 to {track.lanes}, not {lane}.")

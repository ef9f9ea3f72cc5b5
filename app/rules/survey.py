"""Where must each line of a take-over zone lie, how do two people find it with a tape, and does
what they measured agree?

A tape is laid straight along the ground, from a mark to where the line meets the inner edge of its
lane: the outer edge of the line, or of the kerb, at the lane's left (a lane's width counts the line
at its right only: World Athletics track facilities practice). Marks are what every track has: the
finish line, where the first bend begins; the ends of both bends; and the same line one lane inside.
How far off a line lies is told along the lane's measuring line, like the lengths of the rule books.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import asin, cos, pi, sin
from types import MappingProxyType
from typing import Final

from app.rules.book_parts import ZoneRule
from app.rules.on_plan import edge_radius, spot_at
from app.rules.relay import Relay
from app.rules.track import (
    Place,
    Section,
    Track,
    ZonePlace,
    running_radius,
    section_length,
    zone_on_track,
)

LEAST_SHARE: Final = 0.5
"""How much of a centimetre along the lane a tape must show at least: near the far end of a bend it
shows next to nothing of it."""
ROUNDING_M: Final = 1e-6
FARTHEST_OFF_M: Final = 5.0


class ZoneLine(StrEnum):
    """A line of a zone, in the order in which runners meet them."""

    ACCELERATION = "acceleration"
    START = "start"
    LEG_LINE = "leg line"
    END = "end"


class Mark(StrEnum):
    """What a tape is laid from. The finish line is where the first bend begins."""

    FINISH = "finish line"
    FIRST_BEND_END = "end of the first bend"
    SECOND_BEND_START = "start of the second bend"
    SECOND_BEND_END = "end of the second bend"
    LANE_INSIDE = "same line one lane inside"


_ENDS: Final[Mapping[Section, tuple[Mark, Mark]]] = MappingProxyType(
    {
        Section.BEND_1: (Mark.FINISH, Mark.FIRST_BEND_END),
        Section.BACK: (Mark.FIRST_BEND_END, Mark.SECOND_BEND_START),
        Section.BEND_2: (Mark.SECOND_BEND_START, Mark.SECOND_BEND_END),
        Section.HOME: (Mark.SECOND_BEND_END, Mark.FINISH),
    }
)
"""The marks at the beginning and at the end of a part of the lap."""


class Verdict(StrEnum):
    """What a measured line is, by the tolerance."""

    RIGHT = "right"
    WRONG = "wrong"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Tape:
    """A straight distance from a mark, in metres; `back` where it is laid against the running."""

    mark: Mark
    metres: float
    back: bool = False


@dataclass(frozen=True, slots=True)
class LineTarget:
    """Where a line must lie in a lane; `tapes` begins with the one that shows it best."""

    lane: int
    line: ZoneLine
    place: Place
    to_section_end_m: float
    tapes: tuple[Tape, ...]

    def tape_from(self, mark: Mark) -> Tape | None:
        """The tape from this mark, None where it would show too little."""
        return next((tape for tape in self.tapes if tape.mark is mark), None)


@dataclass(frozen=True, slots=True)
class Measured:
    """What a tape showed, in metres from the mark; less than nothing on the mark's other side."""

    mark: Mark
    metres: float


@dataclass(frozen=True, slots=True)
class Surveyed:
    """A line that was measured; `off_m` along the lane, more than 0 is too far on."""

    target: LineTarget
    measured: Measured
    off_m: float
    verdict: Verdict


Lines = Mapping[tuple[int, ZoneLine], Measured]
"""What was measured in a zone, by lane and line."""


def zone_targets(
    track: Track, relay: Relay, take_over: int, zone_rule: ZoneRule
) -> tuple[LineTarget, ...]:
    """All lines of a zone, lane by lane from the inside; ValueError for a relay or take-over that
    the track does not have.
    """
    targets: list[LineTarget] = []
    inside: dict[ZoneLine, Place] = {}
    for lane in range(1, track.lanes + 1):
        zone = zone_on_track(track, relay, take_over, lane, zone_rule)
        for line, place in _lines(zone):
            targets.append(_target(track, lane, line, place, inside.get(line)))
            inside[line] = place
    return tuple(targets)


def _lines(zone: ZonePlace) -> Iterator[tuple[ZoneLine, Place]]:
    if zone.acceleration_start is not None:
        yield ZoneLine.ACCELERATION, zone.acceleration_start
    yield ZoneLine.START, zone.start
    yield ZoneLine.LEG_LINE, zone.leg_line
    yield ZoneLine.END, zone.end


def _target(
    track: Track, lane: int, line: ZoneLine, place: Place, inside: Place | None
) -> LineTarget:
    rest = section_length(track, lane, place.section) - place.metres
    begins, ends = _ENDS[place.section]
    fixed = [
        _fixed(track, lane, place.section, begins, place.metres),
        _fixed(track, lane, place.section, ends, rest, back=True),
    ]
    fixed = [one for one in fixed if _share(track, lane, place.section, one) >= LEAST_SHARE]
    fixed.sort(key=lambda one: one.metres)
    return LineTarget(lane, line, place, rest, (*fixed, *_from_inside(track, lane, place, inside)))


def _fixed(
    track: Track, lane: int, section: Section, mark: Mark, away: float, *, back: bool = False
) -> Tape:
    """The tape from an end of the part of the lap that a line lies in; `away` along the lane."""
    if not section.is_bend:
        return Tape(mark, away, back)
    half_turn = away / running_radius(track, lane) / 2
    return Tape(mark, 2 * tape_radius(track, lane) * sin(half_turn), back)


def _share(track: Track, lane: int, section: Section, tape: Tape) -> float:
    """How much of a small step along the lane the tape shows."""
    return cos(asin(tape.metres / (2 * tape_radius(track, lane)))) if section.is_bend else 1.0


def _from_inside(track: Track, lane: int, place: Place, inside: Place | None) -> Iterator[Tape]:
    """The tape along the line between both lanes, from one zone line to the other."""
    if inside is not None:
        radius = tape_radius(track, lane)
        there = spot_at(track, lane - 1, inside.past_finish_m, radius)
        away = spot_at(track, lane, place.past_finish_m, radius).away_from(there)
        lap = 2 * track.straight_m + 2 * pi * radius
        here = _along_edge(track, lane, place, radius)
        ahead = (here - _along_edge(track, lane - 1, inside, radius)) % lap
        yield Tape(Mark.LANE_INSIDE, away if ahead < lap / 2 else -away)


def tape_radius(track: Track, lane: int) -> float:
    """The radius of the inner edge of a lane, in metres."""
    return edge_radius(track, lane - 1)


def _along_edge(track: Track, lane: int, place: Place, radius: float) -> float:
    """How far past the finish line a place of a lane lies on a line of another radius."""
    before = list(Section)[: list(Section).index(place.section)]
    lengths = [(section, section_length(track, lane, section)) for section in before]
    return sum(
        metres * _outwards(track, lane, section, radius)
        for section, metres in (*lengths, (place.section, place.metres))
    )


def survey(
    track: Track, targets: tuple[LineTarget, ...], measured: Lines, tolerance_m: float | None
) -> tuple[Surveyed, ...]:
    """Every line that was measured and that the track has, in the order of the targets.

    A line that was taped from the lane inside stands or falls with that one: ValueError, naming the
    lane, where that one was not measured, and where a tape cannot have been laid so.
    """
    found: dict[tuple[int, ZoneLine], Surveyed] = {}
    for target in targets:
        seen = measured.get((target.lane, target.line))
        if seen is None:
            continue
        off = _off(track, target, seen, found.get((target.lane - 1, target.line)))
        if abs(off) > FARTHEST_OFF_M:
            raise ValueError(
                f"Lane {target.lane}, {target.line}: by {seen.metres:g} m from the {seen.mark} it "
                f"would lie {abs(off):.2f} m off. Measure it again, and look at the mark."
            )
        verdict = _judge(off, tolerance_m)
        found[target.lane, target.line] = Surveyed(target, seen, off, verdict)
    return tuple(found.values())


def _judge(off_m: float, tolerance_m: float | None) -> Verdict:
    if tolerance_m is None:
        return Verdict.NOT_JUDGED
    return Verdict.RIGHT if abs(off_m) <= tolerance_m + ROUNDING_M else Verdict.WRONG


def _off(track: Track, target: LineTarget, seen: Measured, inside: Surveyed | None) -> float:
    """How far too far on the line lies, along its lane."""
    tape = target.tape_from(seen.mark)
    if tape is None:
        marks = ", ".join(one.mark for one in target.tapes)
        raise ValueError(
            f"Lane {target.lane}, {target.line}: a tape from the {seen.mark} shows too little of "
            f"it. Measure from one of: {marks}."
        )
    if seen.mark is Mark.LANE_INSIDE:
        return _off_from_inside(track, target, seen, tape, inside)
    away = _along_lane(track, target, seen.metres) - _along_lane(track, target, tape.metres)
    return -away if tape.back else away


def _along_lane(track: Track, target: LineTarget, metres: float) -> float:
    """How far along the lane a tape of so many metres reaches, from an end of a part of the lap."""
    if not target.place.section.is_bend:
        return metres
    across = 2 * tape_radius(track, target.lane)
    if abs(metres) > across:
        raise ValueError(
            f"Lane {target.lane}, {target.line}: {metres:g} m is more than the bend is wide. "
            "Measure it again."
        )
    return 2 * asin(metres / across) * running_radius(track, target.lane)


def _off_from_inside(
    track: Track, target: LineTarget, seen: Measured, tape: Tape, inside: Surveyed | None
) -> float:
    if inside is None:
        raise ValueError(
            f"Lane {target.lane}, {target.line}: it was taped from lane {target.lane - 1}, whose "
            "line was not measured. Measure that one too, or this one from another mark."
        )
    radius = tape_radius(track, target.lane)
    here, there = target.place.section, inside.target.place.section
    moved = inside.off_m * _outwards(track, target.lane - 1, there, radius)
    wider = moved + seen.metres - tape.metres
    return wider / _outwards(track, target.lane, here, radius)


def _outwards(track: Track, lane: int, section: Section, radius: float) -> float:
    """How many metres on a line of this radius a metre along the lane takes."""
    return radius / running_radius(track, lane) if section.is_bend else 1.0

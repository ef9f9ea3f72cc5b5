"""Where must each line of a take-over zone lie, how do two people find it with a tape, and does
what they measured agree?

A tape is laid straight along the ground, from a mark to where the line meets the inner edge of its
lane: the outer edge of the line, or of the kerb, at the lane's left (a lane's width counts the line
at its right only: World Athletics track facilities practice). Marks are what every track has: the
finish line, where the first bend begins; the ends of both bends; and the same line one lane inside.
How far off a line lies is told along the lane's measuring line, like the lengths of the rule books.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from math import asin, cos, sin
from types import MappingProxyType
from typing import Final

from app.rules.book_parts import ZoneRule
from app.rules.on_plan import Spot, edge_radius, spot_at
from app.rules.relay import Relay
from app.rules.track import (
    Place,
    Section,
    Track,
    ZonePlace,
    abreast,
    lap_length,
    running_radius,
    section_length,
    zone_on_track,
)

LEAST_SHARE: Final = 0.5
"""How much of a centimetre along the lane a tape must show at least: near the far end of a bend it
shows next to nothing of it."""
ROUNDING_M: Final = 1e-6
FARTHEST_OFF_M: Final = 15.0
"""A zone that is still painted by an older edition has its start 10 m off."""
LEAST_TAPE_M: Final = -5.0
MOST_TAPE_M: Final = 150.0
DIGITS: Final = 3  # of a metre
HALVINGS: Final = 50  # of 30 m: far below a micrometre


class ZoneLine(StrEnum):
    """A line of a zone, in the order in which runners meet them."""

    ACCELERATION = "acceleration"
    START = "start"
    LEG_LINE = "leg line"
    END = "end"


LaneLine = tuple[int, ZoneLine]
"""A line of a zone in a lane."""


class Mark(StrEnum):
    """What a tape is laid from. The finish line is where the first bend begins."""

    FINISH = "finish line"
    FIRST_BEND_END = "end of the first bend"
    SECOND_BEND_START = "start of the second bend"
    SECOND_BEND_END = "end of the second bend"
    LANE_INSIDE = "same line one lane inside"


LETTERS: Final[Mapping[Mark, str]] = MappingProxyType(
    {
        Mark.FINISH: "F",
        Mark.FIRST_BEND_END: "A",
        Mark.SECOND_BEND_START: "B",
        Mark.SECOND_BEND_END: "C",
    }
)
"""What each mark is called on the drawing of a zone and in the table beside it."""

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

    @property
    def of(self) -> LaneLine:
        """Which line it is, by lane and line."""
        return self.lane, self.line

    def tape_from(self, mark: Mark) -> Tape | None:
        """The tape from this mark, None where it would show too little."""
        return next((tape for tape in self.tapes if tape.mark is mark), None)


@dataclass(frozen=True, slots=True)
class Measured:
    """What a tape showed, in metres from the mark; less than nothing on the mark's other side.

    `back` says which side counted as more than nothing when it was measured: a corrected track can
    move a line across its mark. None: the side on which the line must lie. `at` is when it was
    said, where that is known; the same said again is the same.
    """

    mark: Mark
    metres: float
    back: bool | None = None
    at: datetime | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Surveyed:
    """A line that was measured; `off_m` along the lane, more than 0 is too far on."""

    target: LineTarget
    measured: Measured
    off_m: float
    verdict: Verdict


Lines = Mapping[LaneLine, Measured]
"""What was measured in a zone, by lane and line."""


@lru_cache(maxsize=256)
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
        from_there = _Anchor(Mark.LANE_INSIDE, *_on_edge_of(track, lane, inside.past_finish_m))
        yield Tape(Mark.LANE_INSIDE, from_there.shows(track, lane, place.past_finish_m))


def tape_radius(track: Track, lane: int) -> float:
    """The radius of the inner edge of a lane, in metres."""
    return edge_radius(track, lane - 1)


@dataclass(frozen=True, slots=True)
class _Anchor:
    """Where a tape begins: the spot on the inner edge of the lane, and how far past the finish the
    lane is there.
    """

    mark: Mark
    at: Spot
    past_finish_m: float
    back: bool = False

    def shows(self, track: Track, lane: int, past_finish_m: float) -> float:
        """What the tape shows of a place of the lane; less than 0 on the other side."""
        there = spot_at(track, lane, past_finish_m, tape_radius(track, lane))
        away = there.away_from(self.at)
        lap = lap_length(track, lane)
        ahead = (past_finish_m - self.past_finish_m + lap / 2) % lap - lap / 2
        return away if (ahead < 0) == self.back or away < ROUNDING_M else -away


def _on_edge_of(track: Track, lane: int, inside_m: float) -> tuple[Spot, float]:
    """Where the lane inside has something, on the line between both, and the lane abreast of it."""
    radius = tape_radius(track, lane)
    return spot_at(track, lane - 1, inside_m, radius), abreast(track, inside_m, lane, lane - 1)


@dataclass(frozen=True, slots=True)
class Judged:
    """The lines that were measured, in the order of the targets; and why others cannot have been
    measured as they are told, by lane and line.
    """

    found: Mapping[LaneLine, Surveyed]
    refused: Mapping[LaneLine, str]


def survey(
    track: Track, targets: tuple[LineTarget, ...], measured: Lines, tolerance_m: float | None
) -> Judged:
    """Every line that was measured, held against where it must lie.

    A line that was taped from the lane inside stands or falls with that one.
    """
    found: dict[LaneLine, Surveyed] = {}
    places = {one.of: one for one in targets}
    refused = {
        of: f"By this edition, or on this track, lane {of[0]} has no line “{of[1]}” here."
        for of in measured
        if of not in places
    }
    for of, target in places.items():
        if of not in measured:
            continue
        try:
            off = _off(track, target, measured[of], found.get((of[0] - 1, of[1])))
        except ValueError as error:
            refused[of] = f"Lane {target.lane}, {target.line}: {error}"
        else:
            found[of] = Surveyed(target, measured[of], off, _judge(off, tolerance_m))
    return Judged(found, refused)


def as_measured(targets: tuple[LineTarget, ...], lines: Lines, at: datetime) -> Lines:
    """The lines by the millimetre, and with the side that counts as more than nothing now, as they
    are said then.
    """
    backs = {(one.lane, one.line, tape.mark): tape.back for one in targets for tape in one.tapes}
    return {
        of: Measured(seen.mark, rounded(seen.metres), backs.get((*of, seen.mark)), at)
        for of, seen in lines.items()
    }


def _judge(off_m: float, tolerance_m: float | None) -> Verdict:
    """By the millimetre, as it is told: what is shown as just within the tolerance is right."""
    if tolerance_m is None:
        return Verdict.NOT_JUDGED
    return Verdict.RIGHT if rounded(abs(off_m)) <= tolerance_m + ROUNDING_M else Verdict.WRONG


def rounded(metres: float) -> float:
    """To the millimetre, as a tape is read; nothing is −0."""
    return round(metres, DIGITS) + 0.0


def _off(track: Track, target: LineTarget, seen: Measured, inside: Surveyed | None) -> float:
    """How far too far on the line lies, along its lane: found by halving."""
    anchor = _anchor(track, target, seen.mark, inside)
    shows = -seen.metres if seen.back is not None and seen.back != anchor.back else seen.metres
    must = target.place.past_finish_m
    least, most = must - FARTHEST_OFF_M, must + FARTHEST_OFF_M
    shown = sorted(anchor.shows(track, target.lane, at) for at in (least, most))
    if not shown[0] <= shows <= shown[1]:
        raise ValueError(
            f"by {seen.metres:g} m from the {seen.mark} it would lie more than "
            f"{FARTHEST_OFF_M:g} m off. Measure it again, and look at the mark."
        )
    for _ in range(HALVINGS):
        middle = (least + most) / 2
        if (anchor.shows(track, target.lane, middle) < shows) != anchor.back:
            least = middle
        else:
            most = middle
    return (least + most) / 2 - must


def _anchor(track: Track, target: LineTarget, mark: Mark, inside: Surveyed | None) -> _Anchor:
    """Where the tape was laid from; ValueError where that says too little of the line."""
    if target.tape_from(mark) is None:
        marks = ", ".join(one.mark for one in target.tapes)
        raise ValueError(
            f"it is not to be measured from the {mark} here. Measure from one of: {marks}."
        )
    lane, place = target.lane, target.place
    if mark is Mark.LANE_INSIDE:
        if inside is None:
            raise ValueError(
                f"it was taped from lane {lane - 1}, whose line was not measured, or not so. "
                "Measure that one too, or this one from another mark."
            )
        found_m = inside.target.place.past_finish_m + inside.off_m
        return _Anchor(mark, *_on_edge_of(track, lane, found_m))
    back = mark is _ENDS[place.section][1]
    away = target.to_section_end_m if back else -place.metres
    at = place.past_finish_m + away
    return _Anchor(mark, spot_at(track, lane, at, tape_radius(track, lane)), at, back)

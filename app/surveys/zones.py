"""The zones of a meet as the rules and a tape have them. Pure: the command line reckons with it.

A zone that was measured and whose track was corrected since may no longer fit what was measured:
then it is told, and nothing is judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from typing import Final

from app.plurals import counted, spans
from app.rules.book import Book
from app.rules.book_parts import ZoneRule
from app.rules.relay import Relay
from app.rules.survey import (
    LaneLine,
    Lines,
    LineTarget,
    Surveyed,
    Verdict,
    ZoneLine,
    survey,
    zone_targets,
)
from app.rules.track import LAP_WITHIN_M, OVAL_M, Section, Track, in_lanes

SECTIONS: Final[Mapping[Section, str]] = {
    Section.BEND_1: "first bend",
    Section.BACK: "back straight",
    Section.BEND_2: "second bend",
    Section.HOME: "home straight",
}
LINES: Final[Mapping[ZoneLine, str]] = {
    ZoneLine.ACCELERATION: "beginning of the acceleration zone",
    ZoneLine.START: "start",
    ZoneLine.LEG_LINE: "leg line",
    ZoneLine.END: "end",
}


@dataclass(frozen=True, slots=True)
class Taped:
    """What was measured in a zone, and when that was stored."""

    lines: Lines
    version: int = 0
    measured_at: datetime | None = None


NOTHING: Final = Taped({})
ZoneName = tuple[Relay, int]


@dataclass(frozen=True, slots=True)
class Zone:
    """The zone of a take-over: where its lines must lie, and those that were measured."""

    relay: Relay
    take_over: int
    rule: ZoneRule
    targets: tuple[LineTarget, ...]
    is_in_lanes: bool
    taped: Taped
    found: Mapping[LaneLine, Surveyed]
    refused: Mapping[LaneLine, str]
    shared: Mapping[LaneLine, Zone] = field(default_factory=dict)
    """As which other zone's the same paint was measured."""

    @property
    def name(self) -> str:
        return f"{self.relay}, take-over {self.take_over}"

    @property
    def problem(self) -> str:
        """Why some of what was measured says nothing, in sentences."""
        return " ".join(self.refused.values())

    @property
    def wrong(self) -> list[Surveyed]:
        """The lines that lie in the wrong place, lane by lane."""
        return [one for one in self.found.values() if one.verdict is Verdict.WRONG]


@dataclass(frozen=True, slots=True)
class ListedZone:
    """A zone with the lines of a list beside those that were known, and what the list said."""

    zone: Zone
    said: Lines


def zone_at(
    track: Track,
    relay: Relay,
    take_over: int,
    rule: ZoneRule,
    taped: Taped = NOTHING,
    tolerance_m: float | None = None,
) -> Zone:
    """A zone with what was measured there."""
    targets = zone_targets(track, relay, take_over, rule)
    judged = survey(track, targets, taped.lines, tolerance_m)
    is_in_lanes = take_over <= in_lanes(track, relay).take_overs
    return Zone(relay, take_over, rule, targets, is_in_lanes, taped, judged.found, judged.refused)


def still_there(targets: Iterable[LineTarget], before: Lines) -> Lines:
    """Of what was measured, the lines that the zone has: on a track that was corrected, or by
    another edition, there may be fewer.
    """
    there = {one.of for one in targets}
    return {of: seen for of, seen in before.items() if of in there}


def wrong_lines(found: Iterable[Surveyed]) -> str:
    """Lines in the wrong place, lane by lane: lane 4: end 0.12 m too far on."""
    return "; ".join(
        f"lane {lane}: {', '.join(map(_off, its))}"
        for lane, its in groupby(found, key=lambda one: one.target.lane)
    )


def _off(one: Surveyed) -> str:
    return f"{LINES[one.target.line]} {how_far(one.off_m)}"


def how_far(off_m: float) -> str:
    """How far off a line lies, in words."""
    return f"{abs(off_m):.3f} m {'too far on' if off_m > 0 else 'too early'}"


@dataclass(frozen=True, slots=True)
class Flagged:
    """What the survey found of a zone: lines in the wrong place, and the lanes in which what was
    measured no longer fits the track. As much of it as somebody asks for.
    """

    zone: Zone
    wrong: Sequence[Surveyed]
    stale: Sequence[int]

    def __bool__(self) -> bool:
        return bool(self.wrong or self.stale)

    @property
    def words(self) -> str:
        """In a part of a sentence."""
        parts = []
        if self.wrong:
            parts.append(
                f"by the survey, lines lie in the wrong place in {wrong_lines(self.wrong)}"
            )
        if self.stale:
            lanes = f"lane{'' if len(self.stale) == 1 else 's'} {spans(self.stale)}"
            parts.append(f"what was measured in {lanes} no longer fits the track: measure it anew")
        return "; ".join(parts)


def flagged(zone: Zone) -> Flagged:
    """All that was found of a zone."""
    return Flagged(zone, zone.wrong, sorted({lane for lane, _ in zone.refused}))


def flags(found: Iterable[Flagged]) -> list[str]:
    """What was found of zones of one relay, a sentence for those of which the same is to be said:
    take-overs at one place of the track.
    """
    said: dict[str, list[int]] = {}
    for one in found:
        if one:
            said.setdefault(one.words, []).append(one.zone.take_over)
    return [
        f"Take-over{'' if len(numbers) == 1 else 's'} {spans(numbers)}: {words}."
        for words, numbers in said.items()
    ]


def wrong_by_relay(zones: Iterable[Zone]) -> list[str]:
    """What lies in the wrong place in zones of any relays, in sentences that name each."""
    found = [Flagged(one, one.wrong, ()) for one in zones]
    return [
        f"{relay}: {sentence}"
        for relay, its in groupby(found, key=lambda one: one.zone.relay)
        for sentence in flags(its)
    ]


def edges_of(rule: ZoneRule) -> str:
    """To which edges of the painted lines a zone is measured, in a sentence."""
    first = "nearer the start" if rule.first_line_inside else "farther from the start"
    last = "farther from the start" if rule.last_line_inside else "nearer the start"
    if first == last:
        return f"Measure to the edge of each line that lies {first}."
    return (
        f"Measure the first line to its edge {first}, the last one to its edge {last}, the leg "
        "line to its edge nearer the start."
    )


def measures_of(rule: ZoneRule) -> str:
    """A zone's measures in words."""
    before = (
        f", after an acceleration zone of {rule.acceleration_m:g} m" if rule.acceleration_m else ""
    )
    return (
        f"{rule.length_m:g} m, leg line {rule.leg_line_m:g} m after its start{before} ({rule.rule})"
    )


def track_in_words(track: Track) -> str:
    """A track's measures in words."""
    flat = ", reckoned flat" if track.lap_m == OVAL_M else ""
    inner = "kerb" if track.kerb else "inner line, no kerb"
    bends = counted(track.four_by_200_bends, "bend")
    is_usual = track.four_by_200_bends == 4 or track.lap_m == OVAL_M
    doubt = f", not {track.lap_m} m: check them" if lap_note(track) else ""
    own = "" if is_usual else f", 4x200 with {bends} in lanes"
    return (
        f"{track.lap_m} m{flat}, {track.lanes} lanes of {track.lane_width_m:g} m; radius "
        f"{track.radius_m:g} m to the {inner}; straights {track.straight_m:g} m{own}; by these a "
        f"lap in lane 1 is {track.lap_m + track.lap_off_m:.2f} m{doubt}"
    )


def lap_note(track: Track) -> str:
    """That a lap by these measures is no lap of 400 or 200 m to the centimetres; empty where it is.
    Each line would lie wrong by as much of it as was run by then.
    """
    if abs(track.lap_off_m) <= LAP_WITHIN_M:
        return ""
    more = "more" if track.lap_off_m > 0 else "less"
    return (
        f"By these measures a lap in lane 1 is {track.lap_m + track.lap_off_m:.2f} m, "
        f"{abs(track.lap_off_m):.2f} m {more} than {track.lap_m} m. Check the radius and the "
        "straights before any line is judged by them."
    )


def all_zones(
    book: Book, track: Track, relays: Iterable[Relay]
) -> Iterator[tuple[Relay, int, ZoneRule]]:
    """The zones of these relays, in their order; relays that are not known there are left out."""
    rules = book.zones_on(track)
    for relay in relays:
        for take_over, rule in sorted(rules.get(relay, {}).items()):
            yield relay, take_over, rule

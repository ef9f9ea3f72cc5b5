"""Zones whose lines are the same paint, such as those of a 4x400 and a 4x800. Pure.

What was measured of a line holds for each of its zones, and what was said of it last counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Final, TypeAlias

from app.rules.book_parts import ZoneRule
from app.rules.survey import LaneLine, LineTarget, Surveyed, ZoneLine
from app.rules.track import Track, lap_length
from app.surveys.zones import Zone

RECKONED_M: Final = 1e-6
"""By so much at the most two ways to reckon one place differ."""
AT_ODDS_M: Final = 0.01
"""Two who tape the same line agree to a centimetre, or one of them has read it wrongly."""
BEFORE_ALL: Final = datetime.min.replace(tzinfo=UTC)

ZoneLineOf: TypeAlias = tuple[Zone, LaneLine]
Spot: TypeAlias = tuple[int, ZoneLine, bool | None, int]
"""A line on the ground: its lane, what it is, to which of its edges is measured, and its
millimetre of the lap."""


def sharing(track: Track, zones: Iterable[Zone], measured: Iterable[Zone]) -> list[Zone]:
    """The zones, each with what was measured of its lines in whichever zone."""
    painted = _painted(track, measured)
    return [_with_shared(track, zone, painted) for zone in zones] if painted else list(zones)


def alike(track: Track, zones: Iterable[Zone]) -> Iterable[Sequence[Zone]]:
    """The zones, those together that are the same paint line by line."""
    found: dict[frozenset[Spot], list[Zone]] = {}
    for zone in zones:
        lines = frozenset(next(_spots(track, zone.rule, target)) for target in zone.targets)
        found.setdefault(lines, []).append(zone)
    return found.values()


def at_odds(track: Track, zones: Iterable[Zone]) -> Iterator[tuple[ZoneLineOf, ZoneLineOf]]:
    """Lines of different zones that are the same paint, and lie otherwise by the one than by the
    other.
    """
    painted: dict[Spot, tuple[ZoneLineOf, float]] = {}
    for zone in zones:
        for of, seen in zone.found.items():
            for spot in _spots(track, zone.rule, seen.target):
                first, off_m = painted.setdefault(spot, ((zone, of), seen.off_m))
                if abs(seen.off_m - off_m) > AT_ODDS_M:
                    yield first, (zone, of)
                    break


def _painted(track: Track, measured: Iterable[Zone]) -> Mapping[Spot, tuple[Zone, Surveyed]]:
    """By spot, the line that was measured there last, and the zone as which."""
    painted: dict[Spot, tuple[Zone, Surveyed]] = {}
    seen_in = [(zone, seen) for zone in measured for seen in zone.found.values()]
    for zone, seen in sorted(seen_in, key=_when):
        for spot in _spots(track, zone.rule, seen.target):
            painted[spot] = (zone, seen)
    return painted


def _when(one: tuple[Zone, Surveyed]) -> tuple[datetime, str, int]:
    zone, seen = one
    return seen.measured.at or BEFORE_ALL, zone.relay.value, zone.take_over


def _with_shared(track: Track, zone: Zone, painted: Mapping[Spot, tuple[Zone, Surveyed]]) -> Zone:
    found: dict[LaneLine, Surveyed] = {}
    shared: dict[LaneLine, Zone] = {}
    for target in zone.targets:
        there = next(filter(None, map(painted.get, _spots(track, zone.rule, target))), None)
        if there is None:
            continue
        other, seen = there
        found[target.of] = replace(seen, target=target)
        if (other.relay, other.take_over) != (zone.relay, zone.take_over):
            shared[target.of] = other
    refused = {of: why for of, why in zone.refused.items() if of not in found}
    return replace(zone, found=found, shared=shared, refused=refused)


def _spots(track: Track, rule: ZoneRule, target: LineTarget) -> Iterator[Spot]:
    """Where a line lies, by the millimetre; two where it lies between two of them, so that the
    same place is found however it was reckoned.
    """
    edge = {
        ZoneLine.ACCELERATION: rule.first_line_inside,
        ZoneLine.START: rule.first_line_inside,
        ZoneLine.END: rule.last_line_inside,
    }.get(target.line)
    lap_m = lap_length(track, target.lane)
    around = (target.place.past_finish_m + off for off in (-RECKONED_M, RECKONED_M))
    for millimetre in sorted({round(at % lap_m * 1000) % round(lap_m * 1000) for at in around}):
        yield target.lane, target.line, edge, millimetre

"""The survey sheets of zones in words: what two people with a tape take out to the track."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from app.forms.sheet_head import MeetHead
from app.forms.survey_sheet import SurveyedZone, SurveyRow, SurveySheets
from app.forms.zone_on_track import ZoneOnTrack, marks_in_words
from app.plurals import spans
from app.rules.relay import Relay
from app.rules.survey import LETTERS, LineTarget, Mark, Verdict, ZoneLine, rounded
from app.rules.track import Track, ZonePlace
from app.surveys.same_paint import alike
from app.surveys.zones import LINES, SECTIONS, Zone, edges_of, measures_of, track_in_words

SHORT: Final = {**LINES, ZoneLine.ACCELERATION: "acceleration"}


@dataclass(frozen=True, slots=True)
class SurveyOf:
    """Whose zones they are: the meet, its edition and track, and how far a line may lie off."""

    head: MeetHead
    edition: str
    track: Track
    tolerance_m: float | None
    printed_at: str


def on_sheets(of: SurveyOf, zones: Iterable[Zone]) -> SurveySheets:
    """What the sheets say: a page a zone, and one page for those that are the same paint."""
    return SurveySheets(
        meet=of.head.meet,
        place=of.head.place,
        date=of.head.date,
        time_zone=of.head.time_zone,
        edition=of.edition,
        track=track_in_words(of.track),
        tolerance=tolerance_in_words(of.tolerance_m),
        marks=marks_in_words(),
        printed_at=of.printed_at,
        zones=tuple(_zone(of.track, *its) for its in alike(of.track, zones)),
    )


def tolerance_in_words(tolerance_m: float | None) -> str:
    """How far a line may lie off, in words."""
    if tolerance_m is None:
        return "not set by the edition; the meet may set one"
    return f"{tolerance_m * 1000:g} mm along the lane"


def _zone(track: Track, zone: Zone, *others: Zone) -> SurveyedZone:
    return SurveyedZone(
        relay=zone.relay.value,
        take_over=f"take-over {zone.take_over}",
        measures=measures_of(zone.rule),
        edges=" ".join(filter(None, [_too(others), edges_of(zone.rule), zone.problem])),
        drawing=ZoneOnTrack(track, tuple(_places(zone))),
        rows=tuple(_row(zone, target) for target in zone.targets),
    )


def _too(others: Iterable[Zone]) -> str:
    """That the same lines serve other take-overs, in a sentence."""
    names = [
        f"{relay}, take-over{'' if len(its) == 1 else 's'} {spans(its)}"
        for relay, its in _numbers(others).items()
    ]
    return f"The same lines serve {'; '.join(names)}: measure them once." if names else ""


def _numbers(zones: Iterable[Zone]) -> Mapping[Relay, Sequence[int]]:
    numbers: dict[Relay, list[int]] = {}
    for zone in zones:
        numbers.setdefault(zone.relay, []).append(zone.take_over)
    return numbers


def _places(zone: Zone) -> Iterator[ZonePlace]:
    for _, targets in groupby(zone.targets, key=lambda one: one.lane):
        by_line = {one.line: one.place for one in targets}
        yield ZonePlace(
            start=by_line[ZoneLine.START],
            leg_line=by_line[ZoneLine.LEG_LINE],
            end=by_line[ZoneLine.END],
            acceleration_start=by_line.get(ZoneLine.ACCELERATION),
        )


def _row(zone: Zone, target: LineTarget) -> SurveyRow:
    found = zone.found.get(target.of)
    measured = found.measured if found else zone.taped.lines.get(target.of)
    fixed = [one for one in target.tapes if one.mark is not Mark.LANE_INSIDE]
    inside = target.tape_from(Mark.LANE_INSIDE)
    is_wrong = found is not None and found.verdict is Verdict.WRONG
    return SurveyRow(
        lane=str(target.lane),
        line=SHORT[target.line],
        lies=f"{SECTIONS[target.place.section]} {_metres(target.place.metres)}",
        tape=_taped(fixed[0].mark, fixed[0].metres),
        other_tape=_taped(fixed[1].mark, fixed[1].metres) if len(fixed) > 1 else "",
        from_inside=_metres(inside.metres) if inside else "",
        measured=_taped(measured.mark, measured.metres) if measured else "",
        off=f"{rounded(found.off_m) * 1000:+.0f} mm{' wrong' if is_wrong else ''}" if found else "",
        is_wrong=is_wrong,
    )


def _taped(mark: Mark, metres: float) -> str:
    return f"{LETTERS.get(mark, 'inside')} {_metres(metres)}"


def _metres(metres: float) -> str:
    return f"{rounded(metres):.3f} m"

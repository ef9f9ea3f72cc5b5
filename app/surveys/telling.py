"""A surveyed zone as it is told: over HTTP and as a list of its lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection

from app.ids import MeetId
from app.meets.queries import MeetFacts, meet_facts
from app.rules.survey import LineTarget, Mark, Measured
from app.sheets.survey_list import COLUMNS
from app.sheets.writing import OutCell, write_csv
from app.surveys.queries import on_programme, surveyable, tolerance_of, zones_of
from app.surveys.wire import LineOut, SurveyOut, TapeOut, ZoneSurveyOut
from app.surveys.zones import SECTIONS, Zone, flag

DIGITS = 3  # a tape is read to the millimetre, and the geometry is good to one


def told_survey(conn: Connection, meet_id: MeetId) -> SurveyOut:
    """All zones of the relays on the programme."""
    facts = meet_facts(conn, meet_id)
    known = facts.book.zones_on(surveyable(facts))
    return SurveyOut(
        tolerance_m=tolerance_of(facts),
        tolerance_by=_who_set(facts),
        zones=[told_zone(one) for one in zones_of(conn, meet_id)],
        left_out=[relay for relay in on_programme(conn, meet_id) if relay not in known],
    )


def _who_set(facts: MeetFacts) -> str | None:
    if facts.terms.zone_tolerance_m is not None:
        return "meet"
    return None if facts.book.zone_tolerance_m is None else "edition"


def told_zone(zone: Zone) -> ZoneSurveyOut:
    """One zone with all its lines."""
    return ZoneSurveyOut(
        relay=zone.relay,
        take_over=zone.take_over,
        length_m=zone.rule.length_m,
        leg_line_m=zone.rule.leg_line_m,
        acceleration_m=zone.rule.acceleration_m,
        rule=zone.rule.rule,
        lines=[_line(zone, target) for target in zone.targets],
        wrong_lanes=sorted({one.target.lane for one in zone.wrong}),
        words=flag(zone.take_over, zone.wrong),
        problem=zone.problem,
        measured_at=zone.taped.measured_at,
        version=zone.taped.version,
    )


def _line(zone: Zone, target: LineTarget) -> LineOut:
    found = zone.found.get((target.lane, target.line))
    measured = zone.taped.lines.get((target.lane, target.line))
    return LineOut(
        lane=target.lane,
        line=target.line,
        section=target.place.section,
        metres=rounded(target.place.metres),
        to_end_m=rounded(target.to_section_end_m),
        past_finish_m=rounded(target.place.past_finish_m),
        tapes=[TapeOut(mark=one.mark, metres=rounded(one.metres)) for one in target.tapes],
        measured=_measured(measured),
        off_m=None if found is None else rounded(found.off_m),
        verdict=None if found is None else found.verdict,
    )


def _measured(measured: Measured | None) -> TapeOut | None:
    if measured is None:
        return None
    return TapeOut(mark=measured.mark, metres=rounded(measured.metres))


def rounded(metres: float) -> float:
    """To the millimetre; nothing is −0."""
    return round(metres, DIGITS) + 0.0


def lines_csv(zones: Iterable[Zone]) -> str:
    """Every line of every zone: where it must lie, what the tape must show, what it showed. The
    same list is taken back with the measured values filled in.
    """
    return write_csv(COLUMNS, [row for zone in zones for row in _rows(zone)])


def _rows(zone: Zone) -> Iterator[list[OutCell]]:
    for target in zone.targets:
        found = zone.found.get((target.lane, target.line))
        measured = zone.taped.lines.get((target.lane, target.line))
        mark = measured.mark if measured else target.tapes[0].mark
        tapes = {one.mark: rounded(one.metres) for one in target.tapes}
        fixed = [one for one in target.tapes if one.mark is not Mark.LANE_INSIDE]
        other = fixed[1] if len(fixed) > 1 else None
        yield [
            zone.relay.value,
            zone.take_over,
            target.lane,
            target.line.value,
            SECTIONS[target.place.section],
            rounded(target.place.metres),
            fixed[0].mark.value,
            rounded(fixed[0].metres),
            other.mark.value if other else None,
            rounded(other.metres) if other else None,
            tapes.get(Mark.LANE_INSIDE),
            mark.value,
            rounded(measured.metres) if measured else None,
            rounded(found.off_m) if found else None,
            found.verdict.value if found else None,
        ]

"""A surveyed zone as it is told over HTTP."""

from __future__ import annotations

from sqlalchemy import Connection

from app.ids import MeetId
from app.meets.queries import MeetFacts
from app.rules.survey import LineTarget, Measured, rounded
from app.surveys.queries import meet_zones, on_programme, tolerance_of
from app.surveys.wire import LineOut, SurveyOut, TapeOut, ZoneNameOut, ZoneSurveyOut
from app.surveys.zones import Zone, flagged, flags, lap_note


def told_survey(conn: Connection, meet_id: MeetId) -> SurveyOut:
    """All zones of the relays on the programme."""
    known, relays = meet_zones(conn, meet_id), on_programme(conn, meet_id)
    return SurveyOut(
        tolerance_m=tolerance_of(known.facts),
        tolerance_by=_who_set(known.facts),
        lap_m=rounded(known.track.lap_m + known.track.lap_off_m),
        lap_note=lap_note(known.track),
        zones=[told_zone(one) for one in known.of(relays)],
        left_out=list(known.left_out(relays)),
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
        measured=len({*zone.taped.lines, *zone.found}),
        wrong_lanes=sorted({one.target.lane for one in zone.wrong}),
        words=" ".join(flags([flagged(zone)])),
        problem=zone.problem,
        measured_at=zone.taped.measured_at,
        version=zone.taped.version,
    )


def _line(zone: Zone, target: LineTarget) -> LineOut:
    found = zone.found.get(target.of)
    shared = zone.shared.get(target.of)
    return LineOut(
        lane=target.lane,
        line=target.line,
        section=target.place.section,
        metres=rounded(target.place.metres),
        to_end_m=rounded(target.to_section_end_m),
        past_finish_m=rounded(target.place.past_finish_m),
        tapes=[TapeOut(mark=one.mark, metres=rounded(one.metres)) for one in target.tapes],
        measured=_measured(None if shared else zone.taped.lines.get(target.of)),
        measured_as=None if shared is None else _named(shared),
        off_m=None if found is None else rounded(found.off_m),
        verdict=None if found is None else found.verdict,
    )


def _named(zone: Zone) -> ZoneNameOut:
    return ZoneNameOut(relay=zone.relay, take_over=zone.take_over)


def _measured(measured: Measured | None) -> TapeOut | None:
    if measured is None:
        return None
    return TapeOut(mark=measured.mark, metres=rounded(measured.metres))

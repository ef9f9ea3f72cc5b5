"""The facts of the infringement form, gathered from one ruling's case.

The form tells what was reported, what the rule book made of it, and what was ruled; times stand in
the meet's zone, with the phone's clock and its measured error beside them.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.clock import in_zone
from app.forms.infringement_form import (
    InfringementForm,
    ReportOnForm,
    Signature,
    ZoneMark,
    ZonePicture,
)
from app.ids import CaseId, HeatId, MeetId, RulingId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.wire import HeatOut
from app.record.queries import head_of
from app.reports.queries import case_row, reports_of_case
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.book import Book, load_book
from app.rules.book_parts import ZoneRule
from app.rules.finding import title_of
from app.rules.observation import Infringement, Mark, Position
from app.rules.whereabouts import metres_along
from app.rulings.queries import ruling_out
from app.rulings.wire import RulingOut

INK_FIELDS = ("Umpire", "Head official", "Team, for receipt")
CONCERNED = {Infringement.PASS_COMPLETED_BEYOND_ZONE: Mark.ZONE_END}
ASPECTS = {"baton": "baton", "foot": "receiver's foot"}


def form_facts(
    conn: Connection, meet_id: MeetId, ruling_id: RulingId, now: datetime
) -> InfringementForm:
    """Everything on the form for one ruling."""
    ruling = ruling_out(conn, meet_id, ruling_id)
    meet = meet_facts(conn, meet_id)
    book = load_book(ruling.edition)
    case = case_row(conn, meet_id, CaseId(ruling.case))
    run = heat(conn, meet_id, HeatId(ruling.heat))
    reports = reports_of_case(conn, CaseId(ruling.case))
    head = head_of(conn, meet_id)
    return InfringementForm(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(ruling.ruled_at, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{book.title}, {book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane="" if ruling.lane is None else str(ruling.lane),
        team=case.team_name or "not known",
        affiliation=case.affiliation or "",
        bib=_bib(run, ruling.lane),
        case_id=case.id,
        zone=_zone(run, reports, book),
        reports=tuple(_report(report, meet) for report in reports),
        ruling_verdict=ruling.verdict.value,
        ruling_infringement=ruling.infringement_title or "",
        ruling_rule=ruling.rule or "",
        ruling_reasons=_reasons(ruling),
        ruled_at=in_zone(ruling.ruled_at, meet.time_zone),
        effect=ruling.effect or "no disqualification",
        signatures=(_signature(ruling, meet),),
        ink_fields=INK_FIELDS,
        record_head=f"{head.size} entries, root {head.root}",
        printed_at=in_zone(now, meet.time_zone),
    )


def _bib(run: HeatOut, lane: int | None) -> str:
    return next((line.bib for line in run.lanes if line.lane == lane), "")


def _reasons(ruling: RulingOut) -> str:
    if ruling.replaced_by is None:
        return ruling.reasons
    return f"{ruling.reasons}\n\nThis ruling was reconsidered; ruling {ruling.replaced_by} stands."


def _signature(ruling: RulingOut, meet: MeetFacts) -> Signature:
    return Signature(
        role="Head official",
        name=ruling.official_name,
        at=in_zone(ruling.ruled_at, meet.time_zone),
        how="PIN on a joined device, attested by the server",
        digest=ruling.statement_digest,
    )


def _zone(run: HeatOut, reports: Sequence[ReportOut], book: Book) -> ZonePicture | None:
    """The zone of the take-over that the reports are about, with every observer's marks."""
    take_overs = {report.take_over for report in reports if report.take_over is not None}
    if len(take_overs) != 1:
        return None
    zone = book.zone(run.relay, take_overs.pop())
    return ZonePicture(
        length_m=zone.length_m,
        leg_line_m=zone.leg_line_m,
        acceleration_m=zone.acceleration_m,
        marks=tuple(mark for report in reports for mark in _marks(report, zone)),
    )


def _marks(report: ReportOut, zone: ZoneRule) -> list[ZoneMark]:
    if report.observation is None or report.state is ReportState.WITHDRAWN:
        return []
    concerned = CONCERNED.get(Infringement(report.observation["seen"]), Mark.ZONE_START)
    return [
        ZoneMark(
            label=ASPECTS[aspect],
            metres=metres_along(position, concerned, zone),
            uncertainty=position.uncertainty,
            note=f"seen by {report.official_name}",
        )
        for aspect, position in _positions(report.observation)
    ]


def _positions(observation: dict[str, Any]) -> list[tuple[str, Position]]:
    return [
        (
            aspect,
            Position(
                observation[aspect]["metres"],
                observation[aspect]["uncertainty"],
                Mark(observation[aspect]["measured_from"])
                if observation[aspect]["measured_from"]
                else None,
            ),
        )
        for aspect in ASPECTS
        if observation.get(aspect)
    ]


def _report(report: ReportOut, meet: MeetFacts) -> ReportOnForm:
    finding = report.finding
    seen = report.observation["seen"] if report.observation else None
    return ReportOnForm(
        observer=report.official_name,
        post=report.post_words,
        seen=title_of(Infringement(seen)) if seen else "yellow flag; no written account came",
        details=tuple(_details(report.observation or {})),
        words=report.words,
        written_at=in_zone(report.clock.at, meet.time_zone) if report.clock else "",
        received_at=in_zone(report.received_at or report.raised_at, meet.time_zone),
        clock_note=_clock_note(report),
        finding=finding.outcome.value if finding else "",
        finding_reason=finding.reason if finding else "",
        rule=finding.rule if finding else "",
        marks_note=_marks_note(report),
        attested="by the server" if report.received_at else "",
    )


def _marks_note(report: ReportOut) -> str:
    notes = [mark.value for mark in report.marks]
    if report.state is ReportState.WITHDRAWN:
        notes.append(f"withdrawn by its umpire: {report.remark}")
    return "; ".join(notes)


def _clock_note(report: ReportOut) -> str:
    if report.clock is None:
        return ""
    if report.clock.offset_ms is None:
        return "the phone's clock was not compared with the server's"
    error = "" if report.clock.error_ms is None else f" ± {report.clock.error_ms / 1000:.2f} s"
    return f"server time minus phone time: {report.clock.offset_ms / 1000:+.2f} s{error}"


def _details(observation: dict[str, Any]) -> list[tuple[str, str]]:
    """The facts of an observation in words; what was left open is left out."""
    details = []
    for name, value in observation.items():
        if name == "seen" or value is None or value == "unsure":
            continue
        label = name.replace("_", " ")
        if isinstance(value, dict):
            origin = value.get("measured_from") or "the edge concerned"
            said = f"{value['metres']:+.2f} m ± {value['uncertainty']:.2f} m from {origin}"
            details.append((f"{ASPECTS[name]} at", said))
        else:
            details.append((label, str(value)))
    return details

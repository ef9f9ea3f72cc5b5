"""A report's own form: the umpire's paper, into which the ruling on its case is signed later."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.access.names import entered_since
from app.access.pen import Strength, how_signed
from app.clock import in_zone
from app.forms.record_head import UNKNOWN_HEAD
from app.forms.report_form import HEAD_OFFICIAL, ReportForm, draw_report_form
from app.forms.signature_section import SHA256_OF_STATEMENT, InkField, Signature, group_digest
from app.ids import CaseId, HeatId, MeetId, ReportId, RulingId
from app.meets.queries import MeetFacts, heat, is_rehearsal, meet_facts
from app.record.erasures import erased_since_signed
from app.reports.as_recorded import drawn_from_report
from app.reports.queries import case_row, report_out
from app.reports.wire import ReportOut
from app.rulings.form import as_told, bib_of, kept_of_ruling
from app.rulings.queries import (
    StoredForm,
    decided_on,
    ruling_in_words,
    rulings_of_case,
    stored_form,
)
from app.rulings.reported import report_on_form, revoked_on_form, zone_note, zone_pictures
from app.rulings.returns import returns_of
from app.sealing.left_rows import Drawn
from app.sealing.told import Act, Told, Wanted

REHEARSAL = "REHEARSAL: nothing of this counts."


def report_form(meet_id: MeetId, report_id: ReportId) -> Wanted[ReportForm]:
    """The form of a report, to be given out."""

    def gather(conn: Connection, now: datetime) -> Told[ReportForm]:
        return _told(conn, meet_facts(conn, meet_id), report_id, now)

    return Wanted("report", report_id, gather, draw_report_form)


def _told(
    conn: Connection, meet: MeetFacts, report_id: ReportId, now: datetime
) -> Told[ReportForm]:
    report = report_out(conn, meet.id, report_id)
    rulings = rulings_of_case(conn, meet.id, CaseId(report.case))
    form = _form(conn, meet, report, rulings, now)
    acts, kept = [_written(form)], None
    if rulings:
        stored = stored_form(conn, meet.id, rulings[-1])
        acts.append(_ruled(conn, meet, rulings[-1], stored))
        kept = kept_of_ruling(rulings[-1], stored)

    def drawn(conn: Connection) -> list[Drawn]:
        return [drawn_from_report(conn, meet.id, report_id)]

    return Told(form, tuple(acts), meet.venue, meet.time_zone, kept, drawn)


def _form(
    conn: Connection, meet: MeetFacts, report: ReportOut, rulings: list[RulingId], now: datetime
) -> ReportForm:
    run = heat(conn, meet.id, HeatId(report.heat))
    case = case_row(conn, meet.id, CaseId(report.case))
    returns = returns_of(conn, meet.id, [report.id]).get(report.id, ())
    return ReportForm(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(report.raised_at, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{meet.book.title}, {meet.book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane="" if report.lane is None else str(report.lane),
        team=report.team_name or "not known",
        affiliation=case.affiliation or "",
        bib=bib_of(run, report.team),
        case_number=str(case.number),
        report_id=report.id,
        report=report_on_form(report, returns, meet.time_zone),
        zones=zone_pictures(run.relay, [report], meet.book),
        zone_note=zone_note([report]),
        later=_later(conn, meet, report, rulings),
        signatures=_by_phone(report, meet.time_zone),
        ink_fields=(InkField("Umpire", report.official_name),),
        head=UNKNOWN_HEAD,
        printed_at=in_zone(now, meet.time_zone),
    )


def _by_phone(report: ReportOut, zone: str) -> tuple[Signature, ...]:
    """That the umpire's phone signed it with its own key; nothing where the server attests it."""
    attested = report.attested
    digest, came = attested.statement_sha256, report.received_at
    if attested.strength != Strength.PHONE_KEY.value or digest is None or came is None:
        return ()
    written = report.clock.at if report.clock is not None else came
    how = f"the phone's own key, by the phone's clock{revoked_on_form(attested, zone)}"
    at = in_zone(written, zone)
    return (Signature("Umpire", report.official_name, at, how, digest),)


def _later(conn: Connection, meet: MeetFacts, report: ReportOut, rulings: list[RulingId]) -> str:
    """That it is of a rehearsal; and what an earlier form does not show: that its umpire is called
    otherwise since, or something was erased, that the case was ruled on again, or what a decision
    has made of the ruling.
    """
    wrote = (report.official, report.received_at or report.raised_at)
    told = [
        *([REHEARSAL] if is_rehearsal(conn, HeatId(report.heat)) else []),
        *erased_since_signed(conn, meet.id, [report.id]),
        *entered_since(conn, meet.id, [wrote], meet.time_zone),
    ]
    if len(rulings) > 1:
        last = ruling_in_words(conn, meet.id, rulings[-1], meet.time_zone)
        told.append(f"Ruled on {len(rulings)} times: {last} stands.")
    decided = decided_on(conn, rulings[-1]) if rulings else None
    return " ".join([*told, *([] if decided is None else [decided.words(meet.time_zone)])])


def _written(form: ReportForm) -> Act:
    report = form.report
    how = f"attested {report.attested}" if report.attested else "raised by a flag"
    digest = report.statement_sha256
    return Act(
        f"{report.observer}, umpire",
        f"Report in case {form.case_number}, received {report.received_at}, {how}"
        f"{f'. {SHA256_OF_STATEMENT}: {digest}' if digest else ''}",
    )


def _ruled(conn: Connection, meet: MeetFacts, ruling_id: RulingId, stored: StoredForm) -> Act:
    """The ruling as its own form tells it, which is held against what was signed."""
    told, digest = as_told(stored.facts), stored.statement_digest
    how = how_signed(conn, meet.id, "ruling", ruling_id, meet.time_zone)
    signed = f"signed {told.ruled_at}: {how}"
    said = f"{told.ruling_verdict}, {told.effect}"
    return Act(
        f"{told.ruled_by}, head official",
        f"Ruling: {said}; {signed}. {SHA256_OF_STATEMENT}: {digest}",
        HEAD_OFFICIAL,
        (
            f"{told.ruled_by}: {said}",
            signed,
            f"{SHA256_OF_STATEMENT}: {group_digest(digest)}",
        ),
    )

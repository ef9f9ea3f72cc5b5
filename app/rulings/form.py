"""What does the form of a ruling tell: gathered once, when the ruling is made, and kept with it.

Crew plans, start lists, names and reports may change afterwards; the form does not. The facts are
stored as one small document beside the ruling, and its digest is part of what was signed. Read when
the form is printed are only the time, the record's head, and whether a later ruling stands instead.
Times stand in the meet's zone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.clock import in_zone
from app.forms.infringement_form import (
    FormFacts,
    InfringementForm,
    ReportOnForm,
    Signature,
    ZoneMark,
    ZonePicture,
)
from app.ids import HeatId, MeetId, RulingId
from app.meets.queries import MeetFacts, heat
from app.meets.wire import HeatOut
from app.record.queries import head_of
from app.reports.findings import OBSERVATIONS
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.book import Book
from app.rules.book_parts import ZoneRule
from app.rules.finding import title_of
from app.rules.observation import Infringement, Mark, Observation, Position
from app.rules.whereabouts import metres_along
from app.rulings.observed import tell
from app.rulings.queries import stored_form
from app.rulings.wire import Verdict
from app.store.rows import AnyRow
from app.wire import PhoneClock

INK_FIELDS = ("Umpire", "Head official", "Team, for receipt")
CONCERNED = {Infringement.PASS_COMPLETED_BEYOND_ZONE: Mark.ZONE_END}
ASPECTS = {"baton": "baton", "foot": "receiver's foot"}

FACTS: TypeAdapter[FormFacts] = TypeAdapter(FormFacts)


@dataclass(frozen=True, slots=True)
class Decided:
    """What the head official decided; `effect` is what stands on the result, in words."""

    by: str
    at: datetime
    verdict: Verdict
    infringement: Infringement | None
    rule: str | None
    effect: str
    reasons: str


def facts_as_ruled(
    conn: Connection,
    meet: MeetFacts,
    case: AnyRow,
    reports: Sequence[ReportOut],
    decided: Decided,
) -> FormFacts:
    """The facts of a form as they are at the ruling."""
    run = heat(conn, meet.id, HeatId(case.heat_id))
    return FormFacts(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(decided.at, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{meet.book.title}, {meet.book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane="" if case.lane is None else str(case.lane),
        team=case.team_name or "not known",
        affiliation=case.affiliation or "",
        bib=_bib(run, case.lane),
        case_id=case.id,
        zone=_zone(run, reports, meet.book),
        reports=tuple(_report(report, meet.time_zone) for report in reports),
        ruling_verdict=decided.verdict.value,
        ruling_infringement=title_of(decided.infringement) if decided.infringement else "",
        ruling_rule=decided.rule or "",
        ruling_reasons=decided.reasons,
        ruled_at=in_zone(decided.at, meet.time_zone),
        ruled_by=decided.by,
        effect=decided.effect,
    )


def as_stored(facts: FormFacts) -> dict[str, Any]:
    """The facts of a form as a small document."""
    document: dict[str, Any] = FACTS.dump_python(facts, mode="json")
    return document


def form_facts(
    conn: Connection, meet_id: MeetId, ruling_id: RulingId, now: datetime
) -> InfringementForm:
    """The form of one ruling: what was fixed when it was made, and what is known now."""
    stored = stored_form(conn, meet_id, ruling_id)
    facts = FACTS.validate_python(stored.facts)
    head = head_of(conn, meet_id)
    return InfringementForm(
        **{field.name: getattr(facts, field.name) for field in fields(FormFacts)},
        later_ruling=_later_ruling(stored.replaced_by),
        signatures=(_signature(facts, stored.statement_digest),),
        ink_fields=INK_FIELDS,
        record_head=f"{head.size} entries, root {head.root}",
        printed_at=in_zone(now, facts.time_zone),
    )


def _later_ruling(replaced_by: RulingId | None) -> str:
    if replaced_by is None:
        return ""
    return f"This ruling was reconsidered and no longer stands; ruling {replaced_by} replaces it."


def _signature(facts: FormFacts, digest: str) -> Signature:
    return Signature(
        role="Head official",
        name=facts.ruled_by,
        at=facts.ruled_at,
        how="PIN on a joined device, attested by the server",
        digest=digest,
    )


def _bib(run: HeatOut, lane: int | None) -> str:
    return next((line.bib for line in run.lanes if line.lane == lane), "")


def _zone(run: HeatOut, reports: Sequence[ReportOut], book: Book) -> ZonePicture | None:
    """The zone of the take-over that the reports are about, with every observer's marks."""
    take_overs = {report.take_over for report in reports if report.take_over is not None}
    if len(take_overs) != 1:
        return None
    take_over = take_overs.pop()
    zone = book.zone(run.relay, take_over)
    return ZonePicture(
        name=f"take-over {take_over}",
        length_m=zone.length_m,
        leg_line_m=zone.leg_line_m,
        acceleration_m=zone.acceleration_m,
        marks=tuple(mark for report in reports for mark in _marks(report, zone)),
    )


def _marks(report: ReportOut, zone: ZoneRule) -> list[ZoneMark]:
    observation = _observation(report)
    if observation is None or report.state is ReportState.WITHDRAWN:
        return []
    concerned = CONCERNED.get(Infringement(observation.seen), Mark.ZONE_START)
    return [
        ZoneMark(
            label=label,
            metres=metres_along(position, concerned, zone),
            uncertainty=position.uncertainty,
            note=f"seen by {report.official_name}",
        )
        for label, position in _positions(observation)
    ]


def _positions(observation: Observation) -> list[tuple[str, Position]]:
    found = [(label, getattr(observation, aspect, None)) for aspect, label in ASPECTS.items()]
    return [(label, position) for label, position in found if position is not None]


def _observation(report: ReportOut) -> Observation | None:
    if report.observation is None:
        return None
    return OBSERVATIONS.validate_python(report.observation)


def _report(report: ReportOut, zone: str) -> ReportOnForm:
    finding, observation = report.finding, _observation(report)
    kind = Infringement(observation.seen) if observation else None
    return ReportOnForm(
        observer=report.official_name,
        post=report.post_words,
        seen=title_of(kind) if kind else "yellow flag; no written account before the ruling",
        observed=tell(observation) if observation else "",
        words=report.words,
        written_at=_written_at(report, zone),
        received_at=_at(report.received_at or report.raised_at, zone),
        clock_note=_clock_note(report, zone),
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


def _written_at(report: ReportOut, zone: str) -> str:
    """When it was written by the server's clock, as far as the phone's was compared with it."""
    if report.clock is None:
        return ""
    return _at(_corrected(report.clock), zone)


def _corrected(clock: PhoneClock) -> datetime:
    return clock.at + timedelta(milliseconds=clock.offset_ms or 0)


def _clock_note(report: ReportOut, zone: str) -> str:
    """What the phone's own clock showed, and how far it was off."""
    clock = report.clock
    if clock is None:
        return ""
    if clock.offset_ms is None:
        return "by the phone's clock, which was not compared with the server's"
    day, shown = _at(_corrected(clock), zone)[:10], _at(clock.at, zone)
    by = f"{abs(clock.offset_ms) / 1000:.2f} s"
    if clock.error_ms is not None:
        # Rounded up: an error is not told smaller than it was measured.
        by += f" ±{math.ceil(clock.error_ms / 10) / 100:.2f} s"
    side = "behind" if clock.offset_ms > 0 else "ahead of"
    return f"the phone showed {shown.removeprefix(day).strip()}, {side} the server by {by}"


def _at(instant: datetime, zone: str) -> str:
    """An instant in the meet's zone, which the head of the form names."""
    return f"{instant.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S %Z}"

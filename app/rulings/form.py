"""What does the form of a ruling tell: gathered once, when the ruling is made, and kept with it.

Crew plans, start lists, names and reports may change afterwards; the form does not. The facts are
stored as one small document beside the ruling, and its digest is part of what was signed. Read when
the form is printed are only the time, the record's head, and whether a later ruling stands instead.
Times stand in the meet's zone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.access.pen import Strength, how_signed
from app.clock import in_zone, rfc3339
from app.forms.infringement_form import (
    FormFacts,
    InfringementForm,
    InkField,
    Signature,
    draw_infringement_form,
)
from app.forms.record_head import UNKNOWN_HEAD
from app.ids import CaseId, HeatId, MeetId, RulingId, TeamId
from app.meets.queries import MeetFacts, heat
from app.meets.wire import HeatOut
from app.record.canonical import digest_of
from app.record.erasures import erased_since_signed
from app.record.kinds import Kind
from app.reports.wire import ReportOut
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rulings.as_ruled import reports_in
from app.rulings.queries import StoredForm, decided_on, ruling_in_words, stored_form
from app.rulings.reported import (
    report_on_form,
    reporters,
    zone_note,
    zone_pictures,
)
from app.rulings.returns import returns_of
from app.rulings.wire import Verdict
from app.sealing.told import Kept, Told, Wanted, acts_signed
from app.store.rows import AnyRow

TOLD_BEFORE = re.compile(
    "(?P<attested>by the phone's own key, with which it was signed at the moment of writing); "
    "SHA-256 of what was signed (?P<statement_sha256>[0-9a-f]{64})"
)
"""How a form told before of what a phone had signed, whose key was not revoked by then."""
NO_ONE_ZONE = "No zone is drawn: the reports do not name one take-over."

FACTS: TypeAdapter[FormFacts] = TypeAdapter(FormFacts)


@dataclass(frozen=True, slots=True)
class Decided:
    """What the head official decided; `effect` is what stands on the result, in words.

    `rests_on` and `replaces` name other rulings in words: those whose notes L made this one a
    disqualification, and the one that this one replaces.
    """

    by: str
    at: datetime
    verdict: Verdict
    infringement: Infringement | None
    rule: str | None
    effect: str
    separate: int
    rests_on: Sequence[str]
    replaces: str
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
    # What a flag raised is on no form once its account has come as another report: that is.
    reports = [one for one in reports if one.came_as is None or one.observation is not None]
    returns = returns_of(conn, meet.id, [report.id for report in reports])
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
        bib=bib_of(run, case.team_id),
        case_id=case.id,
        case_number=str(case.number),
        zones=zone_pictures(run.relay, reports, meet.book),
        reports=tuple(
            report_on_form(report, returns.get(report.id, ()), meet.time_zone) for report in reports
        ),
        ruling_verdict=decided.verdict.value,
        ruling_infringement=title_of(decided.infringement) if decided.infringement else "",
        ruling_rule=decided.rule or "",
        ruling_count=" ".join(_count(decided)),
        ruling_reasons=decided.reasons,
        ruled_at=in_zone(decided.at, meet.time_zone),
        ruled_by=decided.by,
        effect=decided.effect,
        zone_note=zone_note(reports),
        ink_fields=(
            *reporters(reports),
            InkField("Head official", decided.by),
            InkField("Team, for receipt"),
        ),
    )


def as_stored(facts: FormFacts) -> dict[str, Any]:
    """The facts of a form as a small document."""
    document: dict[str, Any] = FACTS.dump_python(facts, mode="json")
    return document


def as_signed(stored: Mapping[str, Any]) -> dict[str, Any]:
    """A form's facts as their digest is signed: without when the ruling was stored, `date` and
    `ruled_at`, which nobody can be shown before.
    """
    return {name: stored[name] for name in stored.keys() - {"date", "ruled_at"}}


def form_digest(stored: Mapping[str, Any]) -> str:
    """The SHA-256 of a form's facts (RFC 8785), as it is signed."""
    return digest_of(as_signed(stored))


def as_told(stored: Mapping[str, Any]) -> FormFacts:
    """The facts of a form from its document; one of before names one zone or none, and tells of a
    report's digest within its words.
    """
    stored = {**stored, "reports": [_report_as_told(one) for one in stored["reports"]]}
    if "zone" not in stored:
        return FACTS.validate_python(stored)
    zone = stored["zone"]
    zones = {"zones": [zone]} if zone else {"zones": [], "zone_note": NO_ONE_ZONE}
    return FACTS.validate_python({**stored, **zones})


def _report_as_told(stored: Mapping[str, Any]) -> Mapping[str, Any]:
    before = None if "strength" in stored else TOLD_BEFORE.fullmatch(stored["attested"])
    return (
        stored
        if before is None
        else {**stored, **before.groupdict(), "strength": Strength.PHONE_KEY.value}
    )


def ruling_form(meet_id: MeetId, ruling_id: RulingId) -> Wanted[InfringementForm]:
    """The infringement form of a ruling, to be given out."""

    def gather(conn: Connection, now: datetime) -> Told[InfringementForm]:
        return ruling_told(conn, meet_id, ruling_id, now)

    return Wanted("ruling", ruling_id, gather, draw_infringement_form)


def ruling_told(
    conn: Connection, meet_id: MeetId, ruling_id: RulingId, now: datetime
) -> Told[InfringementForm]:
    """The form of one ruling: what was fixed when it was made, and what is known now."""
    stored = stored_form(conn, meet_id, ruling_id)
    facts = as_told(stored.facts)
    how = how_signed(conn, meet_id, "ruling", ruling_id, facts.time_zone)
    form = InfringementForm(
        **{field.name: getattr(facts, field.name) for field in fields(FormFacts)},
        later_ruling=" ".join(_what_came_later(conn, meet_id, ruling_id, stored, facts)),
        signatures=(_signature(facts, stored.statement_digest, how),),
        head=UNKNOWN_HEAD,
        printed_at=in_zone(now, facts.time_zone),
    )
    acts = acts_signed(f"Ruling on case {facts.case_number}", form.signatures)
    kept = kept_of_ruling(ruling_id, stored)
    return Told(form, acts, facts.place, facts.time_zone, kept)


def kept_of_ruling(ruling_id: RulingId, stored: StoredForm) -> Kept:
    """What was fixed when a ruling was signed."""
    return Kept(
        act=ruling_id,
        kind=Kind.RULING,
        about=ruling_id,
        statement_sha256=stored.statement_digest,
        facts=stored.facts,
        form_sha256=form_digest,
    )


def _what_came_later(
    conn: Connection, meet_id: MeetId, ruling_id: RulingId, stored: StoredForm, facts: FormFacts
) -> Iterator[str]:
    """Nobody takes a form for the last word where a ruling or a decision came after it, a phone was
    found to have been in other hands, or something of it was erased.
    """
    yield from erased_since_signed(conn, meet_id, [ruling_id])
    zone = facts.time_zone
    if stored.replaced_by is not None:
        later = ruling_in_words(conn, meet_id, stored.replaced_by, zone)
        yield f"This ruling was reconsidered and no longer stands: {later} replaces it."
    elif (decided := decided_on(conn, ruling_id)) is not None:
        yield decided.words(zone)
    if any(one.strength == Strength.PHONE_KEY for one in facts.reports):
        yield from _revoked_since(conn, meet_id, facts)


def _revoked_since(conn: Connection, meet_id: MeetId, facts: FormFacts) -> Iterator[str]:
    """Of which reports the form says that a phone has signed, and does not say that its key was
    revoked from before: that was said after the ruling.
    """
    by_digest = {one.statement_sha256: one for one in facts.reports}
    numbers = {one.statement_sha256: number for number, one in enumerate(facts.reports, 1)}
    for report in reports_in(conn, meet_id, CaseId(facts.case_id)):
        since, digest = report.attested.key_revoked_from, report.attested.statement_sha256 or ""
        told = by_digest.get(digest)
        if since is None or told is None or told.revoked_from == rfc3339(since):
            continue
        yield (
            f"Report {numbers[digest]}, of {told.observer}, is signed with a phone's key that is "
            f"revoked from {in_zone(since, facts.time_zone)} on. It came after that time, "
            "so its signature does not show who wrote it."
        )


def _signature(facts: FormFacts, digest: str, how: str) -> Signature:
    return Signature(
        role="Head official",
        name=facts.ruled_by,
        at=facts.ruled_at,
        how=how,
        digest=digest,
    )


def _count(decided: Decided) -> Iterator[str]:
    if decided.separate > 1:
        yield f"{decided.separate} separate lane infringements are confirmed."
    if decided.rests_on:
        yield f"The team was noted with L before, by {', and by '.join(decided.rests_on)}."
    if decided.replaces:
        yield f"It replaces {decided.replaces}."


def bib_of(run: HeatOut, team: TeamId | None) -> str:
    """The number that the team wears in this heat; empty where it has none."""
    return next((line.bib for line in run.lanes if line.team == team), "")

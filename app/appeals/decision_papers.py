"""What the paper of a decision tells, the referee's or the jury's.

Its facts are gathered when it is made and kept with it; their digest is part of what was signed.
Read at printing are the time, the record's head, whether a later decision stands instead, and what
`since_signed` tells below the signatures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.access.names import name_then
from app.access.pen import how_signed, in_words
from app.access.queries import official_row, signatures_on
from app.appeals.bench import Bench
from app.appeals.corrected import corrections_section, subjects_of_decision
from app.appeals.decision_queries import decision_row
from app.appeals.ordered import Ordered
from app.appeals.paper_head import blank_paper, called, told_at
from app.appeals.paper_parts import (
    OPEN_NOW,
    appeal_section,
    jury_decision_in_words,
    marks_in_words,
    moves_section,
    panel_section,
    protest_section,
    referees_decision_in_words,
    reopened_section,
    replaced_section,
    what_next,
)
from app.appeals.queries import appeal_row, protest_out, protest_row
from app.appeals.since_signed import since_signed
from app.appeals.standing import appeal_out, marks_of_appeal, measured_appeal
from app.appeals.what_stands import VERDICTS
from app.appeals.wire import Instance, Verdict
from app.clock import in_zone
from app.forms.remedy_paper import RemedyPaper, Section, draw_remedy_paper
from app.forms.signature_section import SHA256_OF_STATEMENT, InkField, Signature, group_digest
from app.ids import AppealId, DecisionId, MeetId, OfficialId, ProtestId
from app.meets.queries import MeetFacts, meet_facts
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.sealing.told import Act, Kept, Told, Wanted, acts_signed
from app.store.action import Unit
from app.store.rows import AnyRow

SECRETARY = "Secretary of the jury, no vote"
"""As what a secretary signs, and the box on the sheet that is kept for it."""

PAPER: TypeAdapter[RemedyPaper] = TypeAdapter(RemedyPaper)

TITLES = {
    Instance.REFEREE: "Decision of the referee",
    Instance.JURY: "Decision of the jury of appeal",
}
ADVICE = "advice given"
MINUTES = "Secretary, no vote"


def decided_paper(
    unit: Unit, meet: MeetFacts, bench: Bench, decided: Ordered, by: OfficialId
) -> dict[str, Any]:
    """The facts of a decision's paper, as a small document."""
    protest, appeal, zone = decided.protest, decided.appeal, meet.time_zone
    about = protest if appeal is None else appeal
    signer = official_row(unit.conn, meet.id, by)
    role = "Referee" if decided.instance is Instance.REFEREE else "Chair of the jury"
    grounds = [("decided", in_zone(unit.now, zone)), ("by", signer.name)]
    if "votes" in decided.more:
        grounds.append(("votes", _votes(decided.more["votes"])))
    if decided.advised_at is not None:
        grounds.append((ADVICE, in_zone(decided.advised_at, zone)))
    base = blank_paper(unit.conn, meet, bench.heat, about, unit.now)
    paper = replace(
        base,
        title=TITLES[decided.instance],
        number=called(protest, appeal),
        verdict=VERDICTS[decided.verdict],
        effect=_effect(decided),
        grounds=tuple(grounds),
        reasons=decided.reasons,
        marks=_marks_of(unit.conn, meet, protest, appeal),
        sections=tuple(_decided_sections(unit, meet, decided)),
        ink_fields=(
            InkField(role, signer.name),
            *_ink_of_panel(unit.conn, meet, decided, by),
            InkField("Team, for receipt"),
        ),
    )
    document: dict[str, Any] = PAPER.dump_python(paper, mode="json")
    return document


def as_signed(paper: Mapping[str, Any]) -> dict[str, Any]:
    """A decision's facts as their digest is signed: without what only its storing knows and nobody
    can be shown before, `date`, the grounds `decided` and `advice given`, and the section that says
    from when on a further time runs.
    """
    of_storing = {"date", "grounds", "sections"}
    fixed = {name: paper[name] for name in paper.keys() - of_storing}
    fixed["grounds"] = [one for one in paper["grounds"] if one[0] not in {"decided", ADVICE}]
    fixed["sections"] = [one for one in paper["sections"] if one["title"] != OPEN_NOW]
    return fixed


def paper_digest(paper: Mapping[str, Any]) -> str:
    """The SHA-256 of a decision's facts (RFC 8785), as it is signed."""
    return digest_of(as_signed(paper))


def _ink_of_panel(
    conn: Connection, meet: MeetFacts, decided: Ordered, chair: OfficialId
) -> list[InkField]:
    """A line for each who voted beside the chair, and for who wrote the minutes."""
    if decided.appeal is None:
        return []
    panel, cast = decided.appeal.panel, decided.more["votes"]["cast"]
    voted = [one for one in panel["members"] if one in cast and one != chair]
    names = [official_row(conn, meet.id, OfficialId(one)).name for one in voted]
    secretary = [InkField(MINUTES, panel["secretary"])] if panel["secretary"] else []
    return [*(InkField("Member of the jury", name) for name in names), *secretary]


def _votes(told: Mapping[str, Any]) -> str:
    tie = f" ({told['tie']})" if told["tie"] else ""
    return f"{told['upheld']} for, {told['rejected']} against{tie}; quorum {told['quorum']}"


def _effect(decided: Ordered) -> str:
    if decided.verdict is Verdict.REFERRED:
        return "the jury decides"
    return "the result is amended" if decided.words else "nothing is amended"


def _marks_of(
    conn: Connection, meet: MeetFacts, protest: AnyRow, appeal: AnyRow | None
) -> tuple[str, ...]:
    """What was odd about what is decided, as its reader must know first."""
    if appeal is None:
        out = protest_out(conn, meet.id, ProtestId(protest.id))
        return marks_in_words(out.marks, out.timeliness)
    timely = measured_appeal(conn, appeal, meet.time_zone)
    return marks_in_words(marks_of_appeal(conn, meet, appeal, timely), timely)


def _decided_sections(unit: Unit, meet: MeetFacts, decided: Ordered) -> list[Section]:
    out = protest_out(unit.conn, meet.id, ProtestId(decided.protest.id))
    sections = [protest_section(unit.conn, meet, out)]
    if "replaces" in decided.more:
        sections.append(replaced_section(unit.conn, meet, DecisionId(decided.more["replaces"])))
    if decided.appeal is not None:
        appeal = appeal_out(unit.conn, meet.id, AppealId(decided.appeal.id))
        sections.append(appeal_section(unit.conn, meet, appeal))
        sections += reopened_section(unit.conn, meet, appeal, "The decision that this replaces")
        if appeal.panel is not None:
            sections.append(panel_section(appeal.panel))
    appeal_id = None if decided.appeal is None else AppealId(decided.appeal.id)
    subjects = subjects_of_decision(unit.conn, meet, decided.id, out.id, appeal_id)
    sections += corrections_section(unit.conn, meet, subjects)
    if decided.heard_because:
        sections.append(Section("Heard all the same", paragraphs=(decided.heard_because,)))
    if decided.words:
        sections.append(Section("What is ordered", items=tuple(decided.words)))
    sections.append(moves_section("What this moves", decided.shown))
    if decided.shown.too_late:
        late = tuple(decided.shown.too_late)
        sections.append(Section("What it can no longer change", items=late))
    sections.append(what_next(meet, decided))
    return sections


def decision_form(meet_id: MeetId, decision_id: DecisionId) -> Wanted[RemedyPaper]:
    """A decision's form, to be given out."""

    def gather(conn: Connection, now: datetime) -> Told[RemedyPaper]:
        return decision_paper(conn, meet_id, decision_id, now)

    return Wanted("decision", decision_id, gather, draw_remedy_paper)


def decision_paper(
    conn: Connection, meet_id: MeetId, decision_id: DecisionId, now: datetime
) -> Told[RemedyPaper]:
    """A decision's paper: what was fixed when it was made, and what is known now."""
    row = decision_row(conn, meet_id, decision_id)
    meet = meet_facts(conn, meet_id)
    paper = PAPER.validate_python(row.form_facts)
    protest = protest_row(conn, meet_id, ProtestId(row.protest_id))
    since = since_signed(conn, meet, row, protest, now)
    signature = _signature(conn, meet, row, paper)
    known = replace(
        paper,
        standing_note=_replaced(conn, meet, row),
        signatures=(signature,),
        since=since,
        further=(SECRETARY,) if _has_secretary(conn, meet, row) else (),
    )
    acts = acts_signed(f"{paper.title}, {paper.number}", [signature])
    told = told_at(meet, known, now, (*acts, *_signed_beside(conn, meet, row)))
    return replace(told, kept=kept_of_decision(row))


def kept_of_decision(row: AnyRow) -> Kept:
    """What was fixed when a decision was signed."""
    by_jury = row.instance == Instance.JURY
    return Kept(
        act=row.id,
        kind=Kind.APPEAL_DECIDED if by_jury else Kind.PROTEST_DECIDED,
        about=row.appeal_id if by_jury else row.protest_id,
        statement_sha256=row.statement_digest,
        facts=row.form_facts,
        form_sha256=paper_digest,
    )


def _signature(conn: Connection, meet: MeetFacts, row: AnyRow, paper: RemedyPaper) -> Signature:
    """That whoever made a decision signed it on a device."""
    return Signature(
        role="Referee" if row.instance == Instance.REFEREE else "Chair of the jury",
        # As it was then: an official may be named otherwise since.
        name=dict(paper.grounds).get("by", row.official_name),
        at=in_zone(row.decided_at, meet.time_zone),
        how=how_signed(conn, meet.id, "decision", row.id, meet.time_zone),
        digest=row.statement_digest,
    )


def _has_secretary(conn: Connection, meet: MeetFacts, row: AnyRow) -> bool:
    """Whether the panel's secretary is an official, who may sign the decision on a device."""
    if row.appeal_id is None:
        return False
    panel = appeal_row(conn, meet.id, AppealId(row.appeal_id)).panel or {}
    return panel.get("secretary_official") is not None


def _signed_beside(conn: Connection, meet: MeetFacts, row: AnyRow) -> Iterator[Act]:
    """The secretary's signature, which is added to the file that the chair's was sealed in."""
    for one in signatures_on(conn, meet.id, "decision signature", [row.id]):
        signed = f"signed {in_zone(one.signed_at, meet.time_zone)}"
        by = name_then(conn, one, one.signed_at)
        how = in_words(one, meet.time_zone)
        digest = f"{SHA256_OF_STATEMENT}: {one.statement_sha256}"
        yield Act(
            f"{by}, {SECRETARY}",
            f"Decision; {signed}: {how}. {digest}",
            SECRETARY,
            (by, signed, how, f"{SHA256_OF_STATEMENT}: {group_digest(one.statement_sha256)}"),
        )


def _replaced(conn: Connection, meet: MeetFacts, row: AnyRow) -> str:
    """That a decision no longer stands, and which one does; empty where it stands."""
    if row.replaced_by is None:
        return ""
    later = decision_row(conn, meet.id, DecisionId(row.replaced_by))
    digest = group_digest(later.statement_digest)
    if row.appeal_id is None:
        return (
            "This decision no longer stands: the protest had been rejected as late, and is in time "
            "by a time that was put right. It is replaced by the decision "
            f"{referees_decision_in_words(later, meet.time_zone)} "
            f"({SHA256_OF_STATEMENT}: {digest})."
        )
    number = appeal_row(conn, meet.id, AppealId(row.appeal_id)).number
    instead = jury_decision_in_words(later, number, meet.time_zone)
    return (
        "This decision no longer stands: the jury reopened it. It is replaced by the decision "
        f"{instead} ({SHA256_OF_STATEMENT}: {digest})."
    )

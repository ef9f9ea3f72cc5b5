"""What the papers tell: a protest, the referee's decision, an appeal, the jury's decision.

The facts of a decision are gathered when it is made and kept with it; their digest is part of what
was signed. A protest and an appeal are told as they stand when they are printed. Read at printing
are the time, the record's head, whether a later decision stands instead, and what `since_signed`
tells below the signatures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.access.names import entered_since, name_then
from app.access.pen import how_signed, in_words
from app.access.queries import official_row, signatures_on
from app.appeals.as_recorded import drawn_from_protest
from app.appeals.bench import Bench
from app.appeals.corrected import corrections_section, subjects_of_decision
from app.appeals.decision_queries import decision_row, subjects_of_protest
from app.appeals.jury_wire import AppealOut
from app.appeals.ordered import Ordered
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
    sought_section,
    what_next,
)
from app.appeals.queries import appeal_row, protest_out, protest_row
from app.appeals.ran_elsewhere import ran_elsewhere
from app.appeals.since_signed import since_signed
from app.appeals.standing import appeal_out, marks_of_appeal, measured_appeal
from app.appeals.what_stands import VERDICTS, what_stands
from app.appeals.wire import Instance, ProtestOut, Verdict
from app.clock import in_zone
from app.forms.remedy_paper import RemedyPaper, Section, draw_remedy_paper
from app.forms.signature_section import SHA256_OF_STATEMENT, InkField, Signature, group_digest
from app.ids import AppealId, DecisionId, HeatId, MeetId, OfficialId, ProtestId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.wire import HeatOut
from app.record.canonical import digest_of
from app.record.erasures import erased_of
from app.record.kinds import Kind
from app.sealing.left_rows import Drawn
from app.sealing.told import Act, Kept, Told, Wanted, acts_signed, as_recorded
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
    base = _blank(unit.conn, meet, bench.heat, about, unit.now)
    paper = replace(
        base,
        title=TITLES[decided.instance],
        number=_number(protest, appeal),
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


def _number(protest: AnyRow | ProtestOut, appeal: AnyRow | AppealOut | None) -> str:
    """What it is called over a radio; a further sitting on an appeal is told from the first."""
    if appeal is None:
        return f"protest {protest.number}"
    of = f" (protest {protest.number})" if appeal.is_referred else ""
    sitting = f", sitting {appeal.sitting}" if appeal.sitting > 1 else ""
    return f"appeal {appeal.number}{of}{sitting}"


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


def _blank(
    conn: Connection, meet: MeetFacts, run: HeatOut, about: AnyRow, at: datetime
) -> RemedyPaper:
    """A paper with its head, and nothing else on it yet."""
    lane = next((line for line in run.lanes if line.team == about.team_id), None)
    ran = ran_elsewhere(conn, meet.id, HeatId(run.id), about.team_id)
    there = "" if ran is None else f"{ran.lane} in {ran.heat}"
    return RemedyPaper(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(at, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{meet.book.title}, {meet.book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane=there if lane is None else str(lane.lane),
        team=about.team_name,
        affiliation=about.affiliation,
        bib=lane.bib if lane is not None else "" if ran is None else ran.bib,
        title="",
        number="",
        verdict="",
        awaits="",
        effect="",
        grounds=(),
        reasons="",
        standing_note="",
        marks=(),
        sections=(),
        signatures=(),
        ink_fields=(),
        printed_at="",
    )


def _told(
    meet: MeetFacts, paper: RemedyPaper, now: datetime, acts: tuple[Act, ...] = ()
) -> Told[RemedyPaper]:
    printed = replace(paper, printed_at=in_zone(now, meet.time_zone))
    what = f"{paper.title}, {paper.number}"
    return Told(printed, acts or as_recorded(what, meet.name), paper.place, meet.time_zone)


def protest_form(meet_id: MeetId, protest_id: ProtestId) -> Wanted[RemedyPaper]:
    """A protest's form, to be given out."""

    def gather(conn: Connection, now: datetime) -> Told[RemedyPaper]:
        return protest_paper(conn, meet_id, protest_id, now)

    return Wanted("protest", protest_id, gather, draw_remedy_paper)


def appeal_form(meet_id: MeetId, appeal_id: AppealId) -> Wanted[RemedyPaper]:
    """An appeal's form, to be given out."""

    def gather(conn: Connection, now: datetime) -> Told[RemedyPaper]:
        return appeal_paper(conn, meet_id, appeal_id, now)

    return Wanted("appeal", appeal_id, gather, draw_remedy_paper)


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
    told = _told(meet, known, now, (*acts, *_signed_beside(conn, meet, row)))
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


def protest_paper(
    conn: Connection, meet_id: MeetId, protest_id: ProtestId, now: datetime
) -> Told[RemedyPaper]:
    """A protest as it stands."""
    meet = meet_facts(conn, meet_id)
    out = protest_out(conn, meet_id, protest_id)
    run = heat(conn, meet_id, HeatId(out.heat))
    awaits = {"lodged": "awaits the referee", "referred": "awaits the jury"}
    stands = what_stands(conn, meet, out)
    withdrawn = _withdrawn(out, meet.time_zone)
    paper = replace(
        _blank(conn, meet, run, _about(out), out.lodged_at),
        title="Protest",
        number=f"protest {out.number}",
        verdict=out.state.value if withdrawn else stands.verdict,
        awaits=awaits.get(out.state, ""),
        grounds=(*stands.grounds, *withdrawn),
        marks=marks_in_words(out.marks, out.timeliness),
        sections=(
            *stands.sections,
            protest_section(conn, meet, out),
            *corrections_section(conn, meet, subjects_of_protest(conn, meet, out.id)),
            *_called_otherwise(conn, meet, _acts_on(out)),
            *_erased(conn, meet, [out.id]),
        ),
        ink_fields=(
            InkField("Lodged by", out.lodged_by),
            InkField("Taken in by", out.taken_by_name),
        ),
    )
    return replace(_told(meet, paper, now), drawn=_rows_of(meet_id, protest_id))


def appeal_paper(
    conn: Connection, meet_id: MeetId, appeal_id: AppealId, now: datetime
) -> Told[RemedyPaper]:
    """An appeal as it stands, or what the referee referred to the jury."""
    meet = meet_facts(conn, meet_id)
    out = appeal_out(conn, meet_id, appeal_id)
    protest = protest_out(conn, meet_id, ProtestId(out.protest))
    run = heat(conn, meet_id, HeatId(out.heat))
    awaits = {
        "lodged": "awaits its deposit or the jury's word",
        "late": "late: awaits the jury's word",
        "admitted": "awaits the jury",
    }
    sections = [
        appeal_section(conn, meet, out),
        *sought_section(conn, meet, out),
        *reopened_section(conn, meet, out, "Reopened by the jury"),
        protest_section(conn, meet, protest),
        *corrections_section(conn, meet, [out.id, *subjects_of_protest(conn, meet, protest.id)]),
    ]
    if protest.decision is not None:
        decided = protest.decision
        sections.append(
            Section(
                "The referee's decision",
                (
                    ("decided", decided.decided_at_local),
                    ("by", decided.official_name),
                    ("verdict", VERDICTS[decided.verdict]),
                ),
                (decided.reasons,),
                tuple(decided.ordered),
            )
        )
    sections += _called_otherwise(conn, meet, [*_acts_on(out), *_acts_on(protest)])
    sections += _erased(conn, meet, [out.id, protest.id])
    paper = replace(
        _blank(conn, meet, run, _about(out), out.lodged_at),
        title="Referred to the jury" if out.is_referred else "Appeal to the jury",
        number=_number(protest, out),
        verdict="" if out.state in awaits else _outcome(out),
        awaits=awaits.get(out.state, ""),
        grounds=_standing(out, meet.time_zone),
        marks=marks_in_words(out.marks, out.timeliness),
        sections=tuple(sections),
        ink_fields=_ink_of_appeal(out),
    )
    return replace(_told(meet, paper, now), drawn=_rows_of(meet_id, ProtestId(protest.id)))


def _rows_of(meet_id: MeetId, protest_id: ProtestId) -> Callable[[Connection], list[Drawn]]:
    """What reads the rows that these papers are drawn from."""
    return lambda conn: drawn_from_protest(conn, meet_id, protest_id)


def _acts_on(out: ProtestOut | AppealOut) -> list[tuple[str, datetime]]:
    """Who took it in and who decided on it, and when."""
    taken = (out.taken_by, out.entered_at)
    made = out.decision
    return [taken] if made is None else [taken, (made.official, made.decided_at)]


def _called_otherwise(
    conn: Connection, meet: MeetFacts, acts: Iterable[tuple[str, datetime]]
) -> list[Section]:
    """Whom the paper names as they were called then, and who has another name since."""
    told = entered_since(conn, meet.id, acts, meet.time_zone)
    return [Section("Names entered otherwise since", items=told)] if told else []


def _erased(conn: Connection, meet: MeetFacts, subjects: list[str]) -> list[Section]:
    """That names or words are missing which stood there."""
    told = erased_of(conn, meet.id, subjects)
    return [Section("Erased since", items=told)] if told else []


def _ink_of_appeal(out: AppealOut) -> tuple[InkField, ...]:
    """Who signs in ink: of what the referee referred the referee alone, for nobody appeals."""
    if out.is_referred:
        return (InkField("Referee", out.taken_by_name),)
    return InkField("Appellant", out.lodged_by), InkField("Taken in by", out.taken_by_name)


def _outcome(out: AppealOut) -> str:
    """What was not heard was not decided either."""
    unheard = out.decision is None and out.admitted is not None and not out.admitted["admit"]
    return "turned away" if unheard else out.state.value


@dataclass(frozen=True, slots=True)
class _About:
    team_id: str
    team_name: str
    affiliation: str


def _about(out: ProtestOut | AppealOut) -> Any:
    return _About(out.team, out.team_name, out.affiliation)


def _standing(out: ProtestOut | AppealOut, zone: str) -> tuple[tuple[str, str], ...]:
    decided = out.decision
    if decided is not None:
        return (("decided", decided.decided_at_local), ("by", decided.official_name))
    return _withdrawn(out, zone)


def _withdrawn(out: ProtestOut | AppealOut, zone: str) -> tuple[tuple[str, str], ...]:
    """By whom it was withdrawn, when and why, or who turned it away; else nothing."""
    said = out.withdrawn
    if said is None:
        return ()
    if said.get("turned_away"):
        return (("turned away by", str(said["by_name"])),)
    facts = [("withdrawn by", str(said["by"])), ("at", in_zone(_instant(said["at"]), zone))]
    return (*facts, *([("because", str(said["reason"]))] if said["reason"] else []))


def _instant(said: object) -> datetime:
    return datetime.fromisoformat(str(said))

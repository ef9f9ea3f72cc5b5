"""What does the file tell of protests and appeals: what was lodged, who sat, and what was decided?

The parts are those of their papers. Of other protests nothing is told but what these papers name:
whom a decision moves, and the decision that undoes another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from app.access.pen import how_signed
from app.appeals.corrected import corrections_section
from app.appeals.decision_queries import decision_row, subjects_of_protest
from app.appeals.either_way import either_way
from app.appeals.jury_wire import AppealOut
from app.appeals.paper_parts import (
    appeal_section,
    marks_in_words,
    moves_section,
    panel_section,
    protest_section,
    reopened_section,
    sought_section,
)
from app.appeals.queries import appeal_row
from app.appeals.showing import appeal_shown, decisions_shown, protest_shown
from app.appeals.states import AppealState
from app.appeals.what_stands import ROLES, VERDICTS
from app.appeals.wire import DecisionOut, ProtestOut
from app.casefiles.scope import Scope
from app.clock import in_zone
from app.forms.case_file import DecisionOnFile, RemedyOnFile, Section, Verdict
from app.forms.sheet_parts import Fact
from app.forms.signature_section import SHA256_OF_STATEMENT
from app.ids import AppealId, ProtestId
from app.meets.queries import MeetFacts

OPEN = frozenset({AppealState.LODGED, AppealState.LATE, AppealState.ADMITTED})


def remedies_on_file(
    conn: Connection,
    meet: MeetFacts,
    scope: Scope,
    doubts: Mapping[str, str],
    now: datetime,
) -> tuple[RemedyOnFile, ...]:
    """The protests of a file, each with its appeals behind it. `doubts` say of which decisions the
    signature does not show who signed.
    """
    told = [one for ident in scope.protests for one in _told(conn, meet, ident, now)]
    return tuple(replace(one, decisions=_doubted(one.decisions, doubts)) for one in told)


def _doubted(
    made: Sequence[DecisionOnFile], doubts: Mapping[str, str]
) -> tuple[DecisionOnFile, ...]:
    found = [(one, doubts.get(one.ident, "")) for one in made]
    return tuple(
        replace(one, verdict=replace(one.verdict, marks=(doubt,))) if doubt else one
        for one, doubt in found
    )


def _told(
    conn: Connection, meet: MeetFacts, ident: ProtestId, now: datetime
) -> Iterator[RemedyOnFile]:
    protest = protest_shown(conn, meet.id, ident, now)
    made = decisions_shown(conn, meet, ident, now)
    yield _protest(conn, meet, protest, [one for one in made if one.appeal is None])
    for appeal_id in protest.appeals:
        appeal = appeal_shown(conn, meet.id, appeal_id, now)
        of_it = [one for one in made if one.appeal == appeal_id]
        yield _appeal(conn, meet, appeal, of_it)


def _protest(
    conn: Connection, meet: MeetFacts, out: ProtestOut, made: Sequence[DecisionOut]
) -> RemedyOnFile:
    open_now = [*(out.awaits or ()), *([out.appeals_until] if out.appeals_until else [])]
    return RemedyOnFile(
        title=f"Protest {out.number} of {out.team_name}",
        marks=marks_in_words(out.marks, out.timeliness),
        sections=(
            replace(protest_section(conn, meet, out), title=""),
            *corrections_section(conn, meet, subjects_of_protest(conn, meet, out.id)),
            *_withdrawn(out, meet.time_zone),
            *([Section("What is open now", items=tuple(open_now))] if open_now else []),
        ),
        decisions=tuple(_decision(conn, meet, one, f"protest {out.number}") for one in made),
    )


def _appeal(
    conn: Connection, meet: MeetFacts, out: AppealOut, made: Sequence[DecisionOut]
) -> RemedyOnFile:
    whose = "referred by the referee" if out.is_referred else f"of {out.team_name}"
    return RemedyOnFile(
        title=f"Appeal {out.number} {whose}",
        marks=marks_in_words(out.marks, out.timeliness),
        sections=(
            replace(appeal_section(conn, meet, out), title=""),
            *sought_section(conn, meet, out),
            *reopened_section(conn, meet, out, "Reopened by the jury"),
            *([panel_section(out.panel)] if out.panel is not None else []),
            *corrections_section(conn, meet, [out.id]),
            *_withdrawn(out, meet.time_zone),
            *([Section("What is open now", items=tuple(out.awaits))] if out.awaits else []),
            *_foreseen(conn, meet, out),
        ),
        decisions=tuple(_decision(conn, meet, one, f"appeal {out.number}") for one in made),
    )


def _withdrawn(out: ProtestOut | AppealOut, zone: str) -> Iterator[Section]:
    said = out.withdrawn
    if said is None or "by" not in said or said.get("turned_away"):
        return
    at = in_zone(datetime.fromisoformat(str(said["at"])), zone)
    facts = [("withdrawn by", str(said["by"])), ("at", at)]
    if said.get("reason"):
        facts.append(("because", str(said["reason"])))
    yield Section("Withdrawn", tuple(facts))


def _foreseen(conn: Connection, meet: MeetFacts, out: AppealOut) -> Iterator[Section]:
    """What either answer would move, while the jury has not given one."""
    if out.state not in OPEN:
        return
    foreseen = either_way(conn, meet, appeal_row(conn, meet.id, AppealId(out.id)))
    if foreseen.granted is not None:
        yield moves_section("What it would move if what is asked for is granted", foreseen.granted)
    if foreseen.rejected is not None:
        yield moves_section("What it would move if it is rejected", foreseen.rejected)
    if foreseen.note:
        yield Section("On what it would move", paragraphs=(foreseen.note,))


def _decision(conn: Connection, meet: MeetFacts, made: DecisionOut, about: str) -> DecisionOnFile:
    replaced = "A later decision stands in place of this one." if made.replaced_by else ""
    verdict = Verdict(
        label="decision",
        words=VERDICTS[made.verdict],
        effect="the result is amended" if made.ordered else "nothing is amended",
        grounds=(
            Fact("decided", made.decided_at_local, "decided"),
            Fact("by", f"{made.official_name}, {ROLES[made.instance]}", "by"),
            Fact("votes", _votes(conn, meet, made), "votes"),
        ),
        reasons=made.reasons,
        later=replaced,
    )
    sitting = f", sitting {made.sitting}" if made.sitting > 1 else ""
    title = f"Decision of the {made.instance.value} on {about}{sitting}"
    return DecisionOnFile(title, verdict, tuple(_parts(conn, meet, made)), made.id)


def _votes(conn: Connection, meet: MeetFacts, made: DecisionOut) -> str:
    """How the panel voted; empty for the referee's, and where it was erased."""
    told = (decision_row(conn, meet.id, made.id).statement or {}).get("votes")
    if not told:
        return ""
    return f"{told['upheld']} for, {told['rejected']} against; quorum {told['quorum']}"


def _parts(conn: Connection, meet: MeetFacts, made: DecisionOut) -> Iterator[Section]:
    if made.heard_because:
        yield Section("Heard all the same", paragraphs=(made.heard_because,))
    if made.done_already:
        yield Section("What has done it already", paragraphs=(made.done_already,))
    if made.ordered:
        yield Section("What is ordered", items=tuple(made.ordered))
    yield moves_section("What this moves", made.consequences)
    if made.consequences.too_late:
        yield Section("What it can no longer change", items=tuple(made.consequences.too_late))
    if made.affected:
        moved = tuple(f"{one.team_name}: {one.words}." for one in made.affected)
        yield Section("Until when those whom it moves can appeal or protest", items=moved)
    facts = [
        ("signed", how_signed(conn, meet.id, "decision", made.id, meet.time_zone)),
        (SHA256_OF_STATEMENT, made.statement_digest),
    ]
    if made.advised_at is not None:
        facts.insert(0, ("told to those who protested", in_zone(made.advised_at, meet.time_zone)))
    yield Section("", tuple(facts))

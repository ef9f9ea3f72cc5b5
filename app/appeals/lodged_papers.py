"""What the papers of what was lodged tell, of a protest and of an appeal: each as it stands when it
is printed, with what was decided on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.access.names import entered_since
from app.appeals.as_recorded import drawn_from_protest
from app.appeals.corrected import corrections_section
from app.appeals.decision_queries import subjects_of_protest
from app.appeals.jury_wire import AppealOut
from app.appeals.paper_head import blank_paper, called, told_at
from app.appeals.paper_parts import (
    appeal_section,
    marks_in_words,
    protest_section,
    reopened_section,
    sought_section,
)
from app.appeals.queries import protest_out
from app.appeals.standing import appeal_out
from app.appeals.what_stands import VERDICTS, what_stands
from app.appeals.wire import ProtestOut
from app.clock import in_zone
from app.forms.remedy_paper import RemedyPaper, Section, draw_remedy_paper
from app.forms.signature_section import InkField
from app.ids import AppealId, HeatId, MeetId, ProtestId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.record.erasures import erased_of
from app.sealing.left_rows import Drawn
from app.sealing.told import Told, Wanted


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
        blank_paper(conn, meet, run, _about(out), out.lodged_at),
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
    return replace(told_at(meet, paper, now), drawn=_rows_of(meet_id, protest_id))


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
        blank_paper(conn, meet, run, _about(out), out.lodged_at),
        title="Referred to the jury" if out.is_referred else "Appeal to the jury",
        number=called(protest, out),
        verdict="" if out.state in awaits else _outcome(out),
        awaits=awaits.get(out.state, ""),
        grounds=_standing(out, meet.time_zone),
        marks=marks_in_words(out.marks, out.timeliness),
        sections=tuple(sections),
        ink_fields=_ink_of_appeal(out),
    )
    return replace(told_at(meet, paper, now), drawn=_rows_of(meet_id, ProtestId(protest.id)))


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

"""What stands at the head of a paper, be it of a protest, of an appeal or of a decision: the meet,
the heat, the team, and what it is called.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from app.appeals.jury_wire import AppealOut
from app.appeals.ran_elsewhere import ran_elsewhere
from app.appeals.wire import ProtestOut
from app.clock import in_zone
from app.forms.remedy_paper import RemedyPaper
from app.ids import HeatId
from app.meets.queries import MeetFacts
from app.meets.wire import HeatOut
from app.sealing.told import Act, Told, as_recorded
from app.store.rows import AnyRow


def blank_paper(
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


def told_at(
    meet: MeetFacts, paper: RemedyPaper, now: datetime, acts: tuple[Act, ...] = ()
) -> Told[RemedyPaper]:
    """A paper as it is given out at this time; without signed acts, as something on record."""
    printed = replace(paper, printed_at=in_zone(now, meet.time_zone))
    what = f"{paper.title}, {paper.number}"
    return Told(printed, acts or as_recorded(what, meet.name), paper.place, meet.time_zone)


def called(protest: AnyRow | ProtestOut, appeal: AnyRow | AppealOut | None) -> str:
    """What it is called over a radio; a further sitting on an appeal is told from the first."""
    if appeal is None:
        return f"protest {protest.number}"
    of = f" (protest {protest.number})" if appeal.is_referred else ""
    sitting = f", sitting {appeal.sitting}" if appeal.sitting > 1 else ""
    return f"appeal {appeal.number}{of}{sitting}"

"""The meet report over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Response
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.guard import Admitted, Here
from app.answers import answer, answer_csv, answer_pdf
from app.forms.meet_report_sheet import draw_meet_report
from app.forms.paper import Paper
from app.guarded import for_programs
from app.ids import ChosenId, MeetId
from app.meet_report.gathering import sheet_for
from app.meet_report.queries import figures_for, names_for, sees_all
from app.meet_report.telling import report_csv, told_report
from app.meet_report.wire import MeetReportOut

router = for_programs("meet report")

Meet = Annotated[ChosenId, Path()]


@router.get("/api/meets/{meet}/meet-report", response_model=MeetReportOut)
async def get_meet_report(meet: Meet, here: Here) -> Response:
    """Where was called, how it was ruled, how long it took: all of it for the chief umpire and the
    referee, for anybody else only what is their own.
    """
    return answer(await here.store.read_apart(lambda conn: _told(conn, MeetId(meet), here)))


def _told(conn: Connection, meet_id: MeetId, here: Admitted) -> MeetReportOut:
    who = here.caller
    figures, names = figures_for(conn, meet_id, who), names_for(conn, meet_id, who)
    return told_report(figures, names, is_all=sees_all(who))


@router.get(
    "/api/meets/{meet}/meet-report.csv",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}}},
)
async def get_meet_report_csv(meet: Meet, here: Here) -> Response:
    """The same as a list, a figure a row."""
    meet_id, who = MeetId(meet), here.caller
    written = await here.store.read_apart(
        lambda conn: report_csv(figures_for(conn, meet_id, who), names_for(conn, meet_id, who))
    )
    return answer_csv(written, "meet-report.csv")


@router.get(
    "/api/meets/{meet}/meet-report.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_meet_report_pdf(
    meet: Meet, here: Here, paper: Annotated[Paper, Query()] = Paper.A4
) -> Response:
    """The same on paper, with charts."""
    meet_id, now = MeetId(meet), here.clock.now()
    sheet = await here.store.read_apart(lambda conn: sheet_for(conn, meet_id, here.caller, now))
    with here.one_more_file():
        drawn = await run_in_threadpool(draw_meet_report, sheet, paper)
    return answer_pdf(drawn, "meet-report.pdf")

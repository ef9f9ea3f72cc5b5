"""Calls and reports over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Response

from app.access.guard import Here
from app.answers import VersionNamed, VersionRequired, answer, answer_put
from app.guarded import for_programs
from app.ids import CallId, ChosenId, HeatId, MeetId, ReportId
from app.reports import actions, flags, queries
from app.reports.attesting import read_signature
from app.reports.heard import heat_posts
from app.reports.who_reads import insist_may_read
from app.reports.wire import (
    CallIn,
    CallOut,
    HeatPostsOut,
    ReasonIn,
    ReportIn,
    ReportOut,
)
from app.short_way import Hurried

router = for_programs("reports")

Meet = Annotated[ChosenId, Path()]
Heat = Annotated[ChosenId, Path()]
Call = Annotated[ChosenId, Path()]
Report = Annotated[ChosenId, Path()]


@router.put("/api/meets/{meet}/calls/{call}", response_model=CallOut)
async def put_call(
    meet: Meet,
    call: Call,
    sent: CallIn,
    here: Here,
) -> Response:
    """Show a flag for a heat."""
    act = flags.show_flag(CallId(call), sent, here.caller)
    asks = flags.asked_of_flag(MeetId(meet), CallId(call), sent, here.caller.official_id)
    put = await here.act(MeetId(meet), act, asks)
    return answer_put(put)


@router.get("/api/meets/{meet}/calls/{call}", response_model=CallOut)
async def get_call(meet: Meet, call: Call, here: Here) -> Response:
    """One call."""
    out = await here.store.read(lambda conn: queries.call_out(conn, MeetId(meet), CallId(call)))
    insist_may_read(here.caller, out.official)
    return answer(out)


@router.get("/api/meets/{meet}/heats/{heat}/posts", response_model=HeatPostsOut)
async def get_heat_posts(meet: Meet, heat: Heat, here: Here) -> Response:
    """What each post has shown for a heat, and who is silent."""
    out = await here.store.read(lambda conn: heat_posts(conn, MeetId(meet), HeatId(heat)))
    return answer(out)


@router.put("/api/meets/{meet}/reports/{report}", response_model=ReportOut)
async def put_report(
    meet: Meet,
    report: Report,
    sent: ReportIn,
    here: Here,
    version: VersionNamed = None,
) -> Response:
    """Write a report; with If-Match, write a returned one again."""
    signed = None if sent.signature is None else await read_signature(here, report, sent.signature)
    act = actions.write_report(ReportId(report), sent, here.caller, version, signed)
    by = here.caller.official_id
    asks = actions.asked_of_report(MeetId(meet), ReportId(report), sent, by)
    put = await here.act(MeetId(meet), act, asks)
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/reports/{report}", response_model=ReportOut)
async def get_report(meet: Meet, report: Report, here: Here) -> Response:
    """One report."""
    out = await here.store.read(
        lambda conn: queries.report_out(conn, MeetId(meet), ReportId(report))
    )
    insist_may_read(here.caller, out.official)
    return answer(out, version=out.version)


@router.get("/api/meets/{meet}/reports", response_model=list[ReportOut])
async def list_own_reports(meet: Meet, here: Here) -> list[ReportOut]:
    """The caller's own reports, newest first."""
    return await here.store.read(
        lambda conn: queries.reports_of_official(conn, MeetId(meet), here.caller.official_id)
    )


@router.post("/api/meets/{meet}/reports/{report}/return", response_model=ReportOut)
async def return_report(
    meet: Meet,
    report: Report,
    sent: ReasonIn,
    here: Here,
    version: VersionRequired,
) -> Response:
    """Ask the umpire back: what is missing or unclear."""
    out = await here.store.act(
        MeetId(meet), here.actor, actions.return_report(ReportId(report), sent.reason, version)
    )
    return answer(out, version=out.version)


@router.post("/api/meets/{meet}/reports/{report}/withdraw", response_model=ReportOut)
async def withdraw_report(
    meet: Meet,
    report: Report,
    sent: ReasonIn,
    here: Here,
    version: VersionRequired,
) -> Response:
    """Take one's own report back, with a reason."""
    out = await here.store.act(
        MeetId(meet),
        here.actor,
        actions.withdraw_report(ReportId(report), sent.reason, here.caller, version),
    )
    return answer(out, version=out.version)


HURRIED = (
    Hurried("/api/meets/{meet}/calls/{call}", CallIn, put_call),
    Hurried("/api/meets/{meet}/reports/{report}", ReportIn, put_report),
)
"""What phones send while the next race waits, hundreds within a minute."""

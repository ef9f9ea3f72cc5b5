"""The docket, cases, rulings, their forms and disqualifications over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Response

from app.access.guard import Here
from app.access.sign_wire import Check
from app.access.signing import act_signed, take_pen
from app.answers import VersionRequired, answer, answer_put
from app.forms.paper import Paper
from app.guarded import for_programs
from app.ids import CaseId, ChosenId, HeatId, MeetId, ReportId, RulingId
from app.reports.queries import report_out
from app.reports.who_reads import insist_may_read
from app.reports.wire import CaseOut
from app.rulings import actions, queries
from app.rulings.as_ruled import case_told
from app.rulings.form import ruling_form
from app.rulings.report_form import report_form
from app.rulings.wire import DisqualificationOut, RulingIn, RulingOut, StandingRulingsOut
from app.sealing.papers import as_pdf, sealed_paper

router = for_programs("rulings")

Meet = Annotated[ChosenId, Path()]
Case = Annotated[ChosenId, Path()]
Ruling = Annotated[ChosenId, Path()]
Heat = Annotated[ChosenId, Path()]


@router.get("/api/meets/{meet}/cases/{case}", response_model=CaseOut)
async def get_case(meet: Meet, case: Case, here: Here) -> Response:
    """A case: its reports side by side, with findings."""
    meet_id, case_id = MeetId(meet), CaseId(case)
    out = await here.store.read(lambda conn: case_told(conn, meet_id, case_id))
    return answer(out, version=out.version)


@router.put("/api/meets/{meet}/cases/{case}/rulings/{ruling}", response_model=RulingOut)
async def put_ruling(
    meet: Meet,
    case: Case,
    ruling: Ruling,
    sent: RulingIn,
    here: Here,
    version: VersionRequired,
    check: Check = False,
) -> Response:
    """Confirm or dismiss a case, with reasons and PIN; If-Match names the case as it was read."""
    pen = await take_pen(here, sent, check=check)
    put = await act_signed(
        here,
        MeetId(meet),
        pen,
        actions.rule_on(CaseId(case), RulingId(ruling), sent, pen, version),
    )
    return answer_put(put)


@router.get("/api/meets/{meet}/rulings/{ruling}", response_model=RulingOut)
async def get_ruling(meet: Meet, ruling: Ruling, here: Here) -> Response:
    """One ruling."""
    return answer(
        await here.store.read(lambda conn: queries.ruling_out(conn, MeetId(meet), RulingId(ruling)))
    )


@router.get(
    "/api/meets/{meet}/rulings/{ruling}/form.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_form(
    meet: Meet,
    ruling: Ruling,
    here: Here,
    paper: Annotated[Paper, Query()] = Paper.A4,
) -> Response:
    """The filled infringement form, sealed."""
    wanted = ruling_form(MeetId(meet), RulingId(ruling))
    return as_pdf(
        await sealed_paper(here, MeetId(meet), paper, wanted), f"infringement-form-{ruling}"
    )


@router.get(
    "/api/meets/{meet}/reports/{report}/form.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_report_form(
    meet: Meet,
    report: Annotated[ChosenId, Path()],
    here: Here,
    paper: Annotated[Paper, Query()] = Paper.A4,
) -> Response:
    """A report's form, sealed; the ruling on its case is added to it once it is made."""
    meet_id, report_id = MeetId(meet), ReportId(report)
    written = await here.store.read(lambda conn: report_out(conn, meet_id, report_id))
    insist_may_read(here.caller, written.official)
    content = await sealed_paper(here, meet_id, paper, report_form(meet_id, report_id))
    return as_pdf(content, f"report-form-{report}")


@router.get("/api/meets/{meet}/heats/{heat}/rulings", response_model=StandingRulingsOut)
async def list_rulings_in_heat(meet: Meet, heat: Heat, here: Here) -> StandingRulingsOut:
    """The rulings that stand in a heat, also those that dismissed a case."""
    return await here.store.read(
        lambda conn: queries.rulings_in_heat(conn, MeetId(meet), HeatId(heat))
    )


@router.get("/api/meets/{meet}/disqualifications", response_model=list[DisqualificationOut])
async def list_disqualifications(meet: Meet, here: Here) -> list[DisqualificationOut]:
    """All disqualifications of the meet, also those set aside."""
    return await here.store.read(lambda conn: queries.disqualifications_of(conn, MeetId(meet)))

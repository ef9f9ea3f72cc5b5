"""The zone survey over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.answers import VersionNamed, answer, answer_csv, answer_pdf, answer_put
from app.forms.paper import Paper
from app.forms.survey_sheet import draw_survey_sheets
from app.guarded import for_programs
from app.header_names import A_LIST, LARGEST_LIST, ColumnNames, list_sent
from app.ids import ChosenId, MeetId
from app.refusals import FileRefused
from app.rules.relay import Relay
from app.sheets.listed import Listed
from app.sheets.survey_list import MeasuredRow
from app.surveys import actions, listing, queries
from app.surveys.gathering import sheets_of, zones_wanted
from app.surveys.lines_list import lines_csv
from app.surveys.telling import told_survey, told_zone
from app.surveys.wire import SurveyListOut, SurveyOut, ZoneSurveyIn, ZoneSurveyOut
from app.surveys.zones import ListedZone

router = for_programs("survey")

Meet = Annotated[ChosenId, Path()]
TakeOver = Annotated[int, Path(ge=1, le=3)]
OfRelay = Annotated[Relay | None, Query(description="left out, all on the programme")]


@router.get("/api/meets/{meet}/survey", response_model=SurveyOut)
async def get_survey(meet: Meet, here: Here) -> Response:
    """Where the lines of all zones must lie, what was measured, and what lies wrong."""
    return answer(await here.store.read_apart(lambda conn: told_survey(conn, MeetId(meet))))


@router.get("/api/meets/{meet}/survey/zones/{relay}/{take_over}", response_model=ZoneSurveyOut)
async def get_zone(meet: Meet, relay: Relay, take_over: TakeOver, here: Here) -> Response:
    """The same of one zone."""
    zone = await here.store.read(
        lambda conn: told_zone(queries.zone_of(conn, MeetId(meet), relay, take_over))
    )
    return answer(zone, version=zone.version or None)


@router.put("/api/meets/{meet}/survey/zones/{relay}/{take_over}", response_model=ZoneSurveyOut)
async def put_zone(
    meet: Meet,
    relay: Relay,
    take_over: TakeOver,
    sent: ZoneSurveyIn,
    here: Here,
    version: VersionNamed,
) -> Response:
    """Store what was measured in a zone; with If-Match once it was measured."""
    act = actions.measure_zone(relay, take_over, sent, version)
    put = await here.store.act(MeetId(meet), here.actor, act)
    return answer_put(put, version=put.thing.version)


@router.post(
    "/api/meets/{meet}/survey-list",
    response_model=SurveyListOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_survey_list(
    meet: Meet,
    request: Request,
    here: Here,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Take over measured lines from a CSV or XLSX file in the body, with the columns `relay,
    take_over, lane, line, measured_from, measured_m`, such as `survey.csv` with the last one filled
    in; `check=true` only looks. It replaces what was known of each line that it names.
    """
    meet_id = MeetId(meet)
    listed = await list_sent(request, columns, listing.read_file)

    def look(conn: Connection) -> tuple[list[ListedZone], Listed[MeasuredRow]]:
        known = queries.meet_zones(conn, meet_id)
        tolerance = queries.tolerance_of(known.facts)
        return listing.zones_listed(listed, known.facts.book, known.track, tolerance, known.taped)

    zones, seen = await here.store.read_apart(look)
    if check:
        return answer(listing.summary(zones, seen, stored=False))
    if seen.problems:
        raise FileRefused("list of measured lines", seen.problems)
    await here.store.act(meet_id, here.actor, actions.measure_lines(zones))
    return answer(listing.summary(zones, seen, stored=True))


@router.get(
    "/api/meets/{meet}/survey.csv",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}}},
)
async def get_survey_csv(meet: Meet, here: Here, relay: OfRelay = None) -> Response:
    """All lines as a list, to be filled in and taken back."""
    zones = await here.store.read_apart(lambda conn: zones_wanted(conn, MeetId(meet), relay))
    return answer_csv(lines_csv(zones), "survey.csv")


@router.get(
    "/api/meets/{meet}/survey-sheets.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_survey_sheets(
    meet: Meet, here: Here, relay: OfRelay = None, paper: Annotated[Paper, Query()] = Paper.A4
) -> Response:
    """A sheet for each zone, to go out with: where its lines lie, and what a tape must show."""
    meet_id, now = MeetId(meet), here.clock.now()
    sheets = await here.store.read_apart(lambda conn: sheets_of(conn, meet_id, relay, now))
    with here.one_more_file():
        drawn = await run_in_threadpool(draw_survey_sheets, sheets, paper)
    return answer_pdf(drawn, "survey-sheets.pdf")

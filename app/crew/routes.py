"""The crew plan over HTTP."""

from __future__ import annotations

from functools import cache, partial
from typing import Annotated

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection
from starlette.concurrency import run_in_threadpool

from app.access.badges import issue_links, on_paper
from app.access.guard import Here
from app.access.queries import officials_of
from app.answers import VersionNamed, answer, answer_csv, answer_pdf, answer_put
from app.crew import actions, briefing, chiefs, crew_list, queries
from app.crew.day import day_of
from app.crew.plan_list import crew_csv
from app.crew.telling import ToMind, crew, to_mind
from app.crew.wire import CardsIn, CrewIn, CrewListOut, CrewOut
from app.forms.briefing_card import draw_briefing_cards
from app.forms.chiefs_sheet import draw_chiefs_sheet
from app.forms.paper import Paper
from app.guarded import for_programs
from app.header_names import A_LIST, LARGEST_LIST, ColumnNames, list_sent
from app.ids import ChosenId, HeatId, MeetId
from app.meets.queries import programme
from app.refusals import FileRefused
from app.sheets.listed import Listed

router = for_programs("crew")

Meet = Annotated[ChosenId, Path()]
LARGEST_PLAN = 2 * 1024 * 1024


@router.put("/api/meets/{meet}/crew", response_model=CrewOut, max_body_size=LARGEST_PLAN)
async def put_crew(meet: Meet, sent: CrewIn, here: Here, version: VersionNamed) -> Response:
    """Set the whole crew plan; with If-Match once there is one."""
    put = await here.store.act(MeetId(meet), here.actor, actions.plan_crew(sent, version))
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/crew", response_model=CrewOut)
async def get_crew(meet: Meet, here: Here) -> Response:
    """The crew plan, what it leaves unwatched, and whom it wants at two places during one race."""
    out = await here.store.read_apart(lambda conn: crew(conn, MeetId(meet)))
    return answer(out, version=out.version or None)


@router.get(
    "/api/meets/{meet}/crew.csv",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}}},
)
async def get_crew_csv(meet: Meet, here: Here) -> Response:
    """The crew plan as a list, to be worked on and loaded again."""
    listed = await here.store.read_apart(lambda conn: crew_csv(conn, MeetId(meet)))
    return answer_csv(listed, "crew.csv")


@router.post(
    "/api/meets/{meet}/crew-list",
    response_model=CrewListOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_crew_list(
    meet: Meet,
    request: Request,
    here: Here,
    version: VersionNamed,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Set the whole crew plan from a CSV or XLSX file in the body, with the columns `official,
    take_over, edge, lanes`, and if you like `side, relays`, or `event, round, heat` for posts of
    single heats; `check=true` only looks. A row with `yes` under `dropped_out` is no post: it is
    left aside, and told. With If-Match once there is a plan.
    """
    meet_id = MeetId(meet)
    listed = await list_sent(request, columns, crew_list.read_file)

    def look(conn: Connection) -> tuple[CrewIn, Listed[crew_list.CrewRow], ToMind]:
        names_heats = any(row.heats for row in crew_list.posts_in(listed))
        known = crew_list.Known(
            people=officials_of(conn, meet_id),
            heats=programme(conn, meet_id) if names_heats else [],
            before=queries.posts_of(conn, meet_id),
            most=cache(partial(queries.most_lanes, conn, meet_id)),
        )
        sent, seen = crew_list.plan(listed, known)
        relays = {heat.id: heat.relay for heat in known.heats}
        planned = [
            queries.post_sent(one, [relays[HeatId(heat)] for heat in one.heats] or one.relays)
            for one in sent.posts
        ]
        names = {person.id: person.name for person in known.people}
        return sent, seen, to_mind(conn, meet_id, planned, names)

    sent, seen, mind = await here.store.read_apart(look)
    if check:
        return answer(crew_list.summary(sent, seen, mind, stored=False))
    if seen.problems:
        raise FileRefused("crew list", seen.problems)
    await here.store.act(meet_id, here.actor, actions.plan_crew(sent, version))
    return answer(crew_list.summary(sent, seen, mind, stored=True))


@router.get(
    "/api/meets/{meet}/crew/briefing-cards.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_briefing_cards(
    meet: Meet, here: Here, paper: Annotated[Paper, Query()] = Paper.A4
) -> Response:
    """A card for each umpire, four a sheet: where to stand when, what to watch there, by which
    rule, and how to report it.
    """
    known = await here.store.read_apart(lambda conn: day_of(conn, MeetId(meet)))
    cards = briefing.brief(known, here.clock.now(), {})
    with here.one_more_file():
        drawn = await run_in_threadpool(draw_briefing_cards, cards, paper)
    return answer_pdf(drawn, "briefing-cards.pdf")


@router.post(
    "/api/meets/{meet}/crew/briefing-cards.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def print_briefing_cards(meet: Meet, sent: CardsIn, here: Here) -> Response:
    """The same with a code to join by: a new personal link for each umpire who is named, or for
    all who have not joined. The links stand on this paper only: ask for new cards if it got lost.
    Devices that have joined stay joined.
    """
    known = await here.store.read_apart(lambda conn: day_of(conn, MeetId(meet)))
    people = briefing.who_joins(known, sent.officials)
    zone, address = known.facts.time_zone, here.services.settings.address
    with here.one_more_file():  # before the links: they would be new, and on no paper
        links = await issue_links(here.store, MeetId(meet), here.actor, people)
        codes = {link.official: on_paper(link, zone, address) for link in links}
        cards = briefing.brief(known, here.clock.now(), codes)
        drawn = await run_in_threadpool(draw_briefing_cards, cards, sent.paper)
    return answer_pdf(drawn, "briefing-cards.pdf", "attachment")


@router.get(
    "/api/meets/{meet}/crew/chiefs-sheet.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_chiefs_sheet(
    meet: Meet, here: Here, paper: Annotated[Paper, Query()] = Paper.A4
) -> Response:
    """Who stands where, on one page for the chief: the zones on the track, who is at which of their
    edges and from when on, what nobody watches, and who stands over their own club's lane.
    """
    sheet = await here.store.read_apart(
        lambda conn: chiefs.for_the_chief(conn, MeetId(meet), here.clock.now())
    )
    with here.one_more_file():
        drawn = await run_in_threadpool(draw_chiefs_sheet, sheet, paper)
    return answer_pdf(drawn, "chiefs-sheet.pdf")

"""Meets and start lists over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from app.access.guard import Here
from app.answers import VersionNamed, answer, answer_put
from app.guarded import for_programs
from app.header_names import A_LIST, LARGEST_LIST, ColumnNames, list_sent
from app.ids import ChosenId, MeetId
from app.meets import actions, queries, start_lists
from app.meets.wire import MeetIn, MeetOut, MeetsOut, StartListsOut
from app.refusals import FileRefused
from app.rules.book import editions, load_book

router = for_programs("meets")

Meet = Annotated[ChosenId, Path()]


@router.get("/api/editions")
async def list_editions() -> list[dict[str, str]]:
    """The rule editions that a meet can name."""
    books = [load_book(key) for key in editions()]
    return [
        {
            "key": book.key,
            "title": book.title,
            "edition": book.edition,
            "in_force_from": book.in_force_from.isoformat(),
        }
        for book in books
    ]


@router.get("/api/meets", response_model=MeetsOut)
async def list_meets(
    here: Here, before: Annotated[str | None, Query(max_length=80)] = None
) -> Response:
    """The meets of this server, the one that was set up last first, fifty a page."""
    return answer(await here.store.read(lambda conn: queries.meets_page(conn, before)))


@router.put("/api/meets/{meet}", response_model=MeetOut)
async def put_meet(meet: Meet, sent: MeetIn, here: Here, version: VersionNamed) -> Response:
    """Make a meet (with the setup key); with If-Match, change one."""
    meet_id = MeetId(meet)
    if version is not None:
        out = await here.store.act(meet_id, here.actor, actions.change_meet(meet_id, sent, version))
        return answer(out, version=out.version)
    put = await here.store.act(meet_id, here.actor, actions.make_meet(meet_id, sent))
    if put.created:  # its seal stands in the record before anything that it will be used for
        await run_in_threadpool(here.services.seals.sign_present_head, meet_id)
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}", response_model=MeetOut)
async def get_meet(meet: Meet, here: Here) -> Response:
    """A meet."""
    out = await here.store.read(lambda conn: queries.meet(conn, MeetId(meet)))
    return answer(out, version=out.version)


@router.post(
    "/api/meets/{meet}/start-lists",
    response_model=StartListsOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_start_lists(
    meet: Meet,
    request: Request,
    here: Here,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Load start lists from a CSV or XLSX file in the body; `check=true` only looks. A list
    replaces all lanes of each heat that it names: who loses a lane by it stands in `left_out`.
    """
    start_list, problems = await list_sent(request, columns, start_lists.read_file)
    if check:
        out = await here.store.read_apart(
            lambda conn: start_lists.check(conn, MeetId(meet), start_list, problems)
        )
        return answer(out)
    if problems:
        raise FileRefused("start list", problems)
    return answer(
        await here.store.act(
            MeetId(meet), here.actor, start_lists.load(start_list, await request.body())
        )
    )

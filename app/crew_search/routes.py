"""Planning a meet's crew over HTTP: what is wished, the search, and taking its plan over."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, TypeVar

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection

from app.access.guard import Admitted, Here
from app.access.queries import official_names, officials_of
from app.answers import VersionNamed, answer, answer_put
from app.crew.actions import plan_crew
from app.crew.wire import MOST_POSTS, CrewIn, CrewOut
from app.crew_search import actions, course, lists
from app.crew_search.kept import Search
from app.crew_search.queries import begun_before, search_of, wishes_of
from app.crew_search.task import asked_of
from app.crew_search.telling import so_far_of, told
from app.crew_search.wire import (
    SearchIn,
    SearchOut,
    WishesIn,
    WishesOut,
    WishListOut,
)
from app.guarded import for_programs
from app.header_names import A_LIST, LARGEST_LIST, ColumnNames, list_sent
from app.ids import ChosenId, MeetId
from app.refusals import FileRefused, StateConflict

router = for_programs("crew")

Row = TypeVar("Row")
Meet = Annotated[ChosenId, Path()]
OfSearch = Annotated[ChosenId, Path()]
LARGEST_WISHES = 512 * 1024


@router.put("/api/meets/{meet}/crew/wishes", response_model=WishesOut, max_body_size=LARGEST_WISHES)
async def put_wishes(meet: Meet, sent: WishesIn, here: Here, version: VersionNamed) -> Response:
    """Set all that the crew is planned from, besides the programme; with If-Match once it is."""
    put = await here.store.act(MeetId(meet), here.actor, actions.set_wishes(sent, version))
    return answer_put(put, version=put.thing.version)


@router.get("/api/meets/{meet}/crew/wishes", response_model=WishesOut)
async def get_wishes(meet: Meet, here: Here) -> Response:
    """What the crew is planned from."""
    out = await here.store.read(lambda conn: wishes_of(conn, MeetId(meet)))
    return answer(out, version=out.version or None)


@router.post(
    "/api/meets/{meet}/people-list",
    response_model=WishListOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_people_list(
    meet: Meet,
    request: Request,
    here: Here,
    version: VersionNamed,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Say who is planned from a CSV or XLSX file in the body, with the column `name`, and if you
    like `experience, from, until, not`; `check=true` only looks. With If-Match once wishes are
    stored. The rest of them stays.
    """
    listed = await list_sent(request, columns, lists.read_people)

    def seen(conn: Connection) -> lists.Seen:
        before = wishes_of(conn, MeetId(meet))
        return lists.with_people(before, listed, officials_of(conn, MeetId(meet)))

    return await _taken_over(here, MeetId(meet), seen, version, name="list of people", check=check)


@router.post(
    "/api/meets/{meet}/crew-template",
    response_model=WishListOut,
    max_body_size=LARGEST_LIST,
    openapi_extra=A_LIST,
)
async def post_template(
    meet: Meet,
    request: Request,
    here: Here,
    version: VersionNamed,
    check: Annotated[bool, Query()] = False,
    columns: ColumnNames = "{}",
) -> Response:
    """Set the posts of a zone by the number of its people from a CSV or XLSX file in the body, with
    the columns `people, edge, side, lanes`; `check=true` only looks. With If-Match once wishes are
    stored. The rest of them stays.
    """
    listed = await list_sent(request, columns, lists.read_template)

    def seen(conn: Connection) -> lists.Seen:
        return lists.with_template(wishes_of(conn, MeetId(meet)), listed)

    return await _taken_over(here, MeetId(meet), seen, version, name="crew template", check=check)


async def _taken_over(
    here: Here,
    meet_id: MeetId,
    seen: Callable[[Connection], lists.Seen],
    version: int | None,
    *,
    name: str,
    check: bool,
) -> Response:
    found = await here.store.read(seen)
    if check:
        return answer(found.told)
    if found.told.problems:
        raise FileRefused(name, found.told.problems)
    act = actions.set_wishes(found.wishes, version, may_leave_out_pinned=True)
    await here.store.act(meet_id, here.actor, act)
    return answer(found.told.model_copy(update={"stored": True}))


@router.put("/api/meets/{meet}/crew/searches/{search}", response_model=SearchOut)
async def put_search(meet: Meet, search: OfSearch, sent: SearchIn, here: Here) -> Response:
    """Begin to search for a plan; the same id again begins nothing anew. The plan in force stays
    until that of a search is taken over.
    """
    meet_id = MeetId(meet)

    def begun(conn: Connection) -> Search | None:
        return begun_before(conn, meet_id, search, sent, here.clock.now())

    known = await here.store.read(begun)
    if known is None or known.never_began:
        asked = await here.store.read_apart(lambda conn: asked_of(conn, meet_id, sent))
        begin = course.begin(search, sent, so_far_of(asked))
        put = await here.store.act(meet_id, here.actor, begin)
        if put.created:
            here.searches.run(meet_id, here.actor, put.thing, asked)
    return await _told(here, meet_id, search)


@router.get("/api/meets/{meet}/crew/searches/{search}", response_model=SearchOut)
async def get_search(meet: Meet, search: OfSearch, here: Here) -> Response:
    """How far a search is, and its plan as soon as there is one."""
    return await _told(here, MeetId(meet), search)


@router.delete("/api/meets/{meet}/crew/searches/{search}", response_model=SearchOut)
async def delete_search(meet: Meet, search: OfSearch, here: Here) -> Response:
    """Stop a search; the best plan so far can be taken over. One that has ended stays as it is."""
    await here.store.act(MeetId(meet), here.actor, course.stop(search))
    here.searches.hurry(MeetId(meet), search)
    return await _told(here, MeetId(meet), search)


@router.post("/api/meets/{meet}/crew/searches/{search}/take", response_model=CrewOut)
async def post_take(meet: Meet, search: OfSearch, here: Here, version: VersionNamed) -> Response:
    """Make the plan that a search has found the crew plan; with If-Match once there is one."""
    now = here.clock.now()
    known = await here.store.read(lambda conn: search_of(conn, MeetId(meet), search, now))
    plan = known.so_far.plan
    if plan is None and known.is_over:
        raise StateConflict("This search has found no plan. Search again.")
    if plan is None:
        raise StateConflict("This search has no plan yet. Wait for its end, or stop it.")
    if len(plan.posts) > MOST_POSTS:
        raise StateConflict(
            f"This plan has {len(plan.posts)} posts; a crew plan has at most {MOST_POSTS}. Search "
            "for a part of the programme, with times for those heats alone."
        )
    # Of the plan that the search has seen: what somebody stored since is not written over.
    seen = known.so_far.version if version is not None else None
    act = plan_crew(CrewIn(posts=plan.posts), seen)
    put = await here.store.act(MeetId(meet), here.actor, act)
    return answer(put.thing, version=put.thing.version)


async def _told(here: Admitted, meet_id: MeetId, search: str) -> Response:
    now = here.clock.now()

    def read(conn: Connection) -> SearchOut:
        return told(search_of(conn, meet_id, search, now), official_names(conn, meet_id))

    return answer(await here.store.read(read))

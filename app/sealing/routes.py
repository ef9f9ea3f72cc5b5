"""The meet's seals and its sealed papers over HTTP."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Response

from app.access.guard import Here
from app.access.who_may import kinds_read_by
from app.guarded import for_programs
from app.ids import ChosenId, MeetId, PaperId
from app.meets.queries import meet_name
from app.sealing import queries
from app.sealing.wire import PapersOut, SealsOut

router = for_programs("sealing")

Meet = Annotated[ChosenId, Path()]


@router.get("/api/meets/{meet}/seals", response_model=SealsOut)
async def list_seals(meet: Meet, here: Here) -> SealsOut:
    """The certificates that the meet's papers are sealed with, and the keys that sign its record's
    heads: what anybody checks them by.
    """
    meet_id = MeetId(meet)
    await here.store.read(lambda conn: meet_name(conn, meet_id))
    return await here.store.read(lambda conn: queries.seals_of(conn, meet_id))


@router.get("/api/meets/{meet}/papers", response_model=PapersOut)
async def list_papers(
    meet: Meet, here: Here, after: Annotated[ChosenId | None, Query()] = None
) -> PapersOut:
    """The papers that were sealed, every edition, a hundred a page; of each kind for those who read
    its form, so reports' for the head official and the jury alone.
    """
    kinds = kinds_read_by(here.caller.roles)
    return await here.store.read(lambda conn: queries.papers_of(conn, MeetId(meet), after, kinds))


@router.get(
    "/api/meets/{meet}/papers/{paper}.pdf",
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
async def get_paper(meet: Meet, paper: Annotated[ChosenId, Path()], here: Here) -> Response:
    """A paper as it was sealed, also where a later edition tells otherwise; for those who read its
    form.
    """
    kinds = kinds_read_by(here.caller.roles)
    content = await here.store.read_apart(
        lambda conn: queries.paper_content(conn, MeetId(meet), PaperId(paper), kinds)
    )
    return Response(content, media_type="application/pdf")

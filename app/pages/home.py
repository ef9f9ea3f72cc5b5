"""The first page of the server: its meets, each with the way to its notice board."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query, Request, Response

from app.access.guard import Here
from app.guarded import for_readers
from app.meets import queries
from app.pages.rendering import Language, Page, render

router = for_readers()


@router.get("/")
async def show_home(
    request: Request,
    here: Here,
    before: Annotated[str | None, Query(max_length=80)] = None,
    language: Language = None,
) -> Response:
    """The meets of this server, fifty a page."""
    meets = await here.store.read(lambda conn: queries.meets_page(conn, before))
    return render(request, Page("home.html", {"page": meets}, public=True), language)

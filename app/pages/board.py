"""The notice board of a meet, for everybody."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from app.access.guard import Here
from app.ids import ChosenId, MeetId
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = APIRouter(include_in_schema=False)


@router.get("/meets/{meet}")
async def show_board(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """What was announced, and until when anybody can do something about it."""
    frame = await frame_of(here, MeetId(meet))
    page = Page("board.html", {"frame": frame}, zone=frame.meet.time_zone, public=True)
    return render(request, page, language)

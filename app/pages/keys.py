"""The keys of somebody's devices: a passkey to sign with, a phone's own key; and revoking one."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request, Response

from app.access.guard import Here
from app.access.queries import keys_of
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = for_readers()


@router.get("/meets/{meet}/keys")
async def show_keys(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """The caller's own keys, and how this device gets one."""
    frame = await frame_of(here, MeetId(meet))
    keys = await here.store.read(lambda conn: keys_of(conn, MeetId(meet), here.caller.official_id))
    shows = {"frame": frame, "keys": keys}
    return render(request, Page("keys.html", shows, zone=frame.meet.time_zone), language)

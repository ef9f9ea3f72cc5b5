"""Opening a personal link in a browser, and signing a device off.

The link's token stands in the address behind `#`, which no browser sends and no log sees. The page
shows whose link it is and asks for a tap, so that a preview does not use it up.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request, Response
from fastapi.responses import RedirectResponse

from app.access import actions, joining
from app.access.cookies import forget_session, insist_own_page, is_secure, keep_session
from app.access.guard import Here, came_with
from app.access.wire import JoinIn
from app.answers import answer
from app.guarded import for_readers
from app.ids import ChosenId, MeetId, OfficialId
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.wire import Wire

router = for_readers()


class JoinedOut(Wire):
    """Where whoever has joined goes next; the token is in the cookie alone."""

    meet: MeetId
    official: OfficialId
    name: str
    address: str


@router.get("/join")
async def show_join(request: Request, language: Language = None) -> Response:
    """The page that a personal link opens."""
    return render(request, Page("join.html", {"least": 4, "most": 12}, public=True), language)


@router.post("/join")
async def join(request: Request, sent: JoinIn, here: Here) -> Response:
    """Use a personal link in this browser: it keeps the session as a cookie."""
    insist_own_page("POST", came_with(request.headers))
    joined = await joining.join_with(here.store, sent)
    response = answer(
        JoinedOut(
            meet=joined.meet,
            official=joined.official,
            name=joined.name,
            address=f"/meets/{joined.meet}/start",
        )
    )
    secure = is_secure(here.services.settings)
    keep_session(response, joined.meet, joined.token, secure=secure)
    return response


@router.get("/meets/{meet}/start")
async def start(meet: Annotated[ChosenId, Path()], here: Here) -> Response:
    """The place where an official works first."""
    frame = await frame_of(here, MeetId(meet))
    return RedirectResponse(frame.first.address, 303)


@router.post("/meets/{meet}/leave")
async def leave(meet: Annotated[ChosenId, Path()], here: Here) -> Response:
    """End this browser's session at a meet."""
    caller = here.caller
    await here.store.act(caller.meet_id, here.actor, actions.leave(caller.session_id))
    response = RedirectResponse(f"/meets/{meet}", 303)
    forget_session(response, caller.meet_id, secure=is_secure(here.services.settings))
    # What this browser was shown goes as well (Clear Site Data, W3C); the phone's outbox stays.
    response.headers["Clear-Site-Data"] = '"cache"'
    return response

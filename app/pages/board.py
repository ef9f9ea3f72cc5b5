"""The notice board of a meet and its announcements, for everybody.

Nobody's session counts here: whoever looks sees the same, so the pages may be kept for some seconds
by whatever stands between. What the time alone changes on them, the browser counts by itself.
"""

from __future__ import annotations

from collections.abc import Hashable
from datetime import datetime
from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.guarded import for_readers
from app.ids import AnnouncementId, ChosenId, MeetId
from app.pages.frame import frame_of
from app.pages.posting import board_of, result_posted
from app.pages.rendering import (
    Language,
    Page,
    Written,
    language_for,
    render,
    send_written,
    write,
)
from app.record.queries import version_of
from app.results.changing import next_change
from app.results.printing import parted_ties

router = for_readers()

Meet = Annotated[ChosenId, Path()]
Screen = Annotated[Literal["hall"] | None, Query(description="large, and turning by itself")]
Before = Annotated[str | None, Query(max_length=80)]


@router.get("/meets/{meet}")
async def show_board(
    meet: Meet,
    request: Request,
    here: Here,
    before: Before = None,
    screen: Screen = None,
    language: Language = None,
) -> Response:
    """What was announced, and until when anybody can do something about it."""
    meet_id = MeetId(meet)
    template = "hall.html" if screen else "board.html"
    said_in = language_for(request, language)

    def version_by(conn: Connection) -> tuple[Hashable, datetime | None]:
        return version_of(conn, meet_id), next_change(conn, meet_id, here.clock.now())

    # Asked before all that is shown, which is then never older than the version it is kept as.
    version = await here.store.read(version_by) if before is None else None
    frame = await frame_of(here, meet_id)

    def written_by(conn: Connection) -> Written:
        shows = {"frame": frame, "board": board_of(conn, meet_id, before, frame.now)}
        page = Page(template, shows, zone=frame.meet.time_zone, public=True)
        asked = {"before": before, "screen": screen}
        query = urlencode({name: what for name, what in asked.items() if what})
        return write(page, said_in, request.url.path, query)

    # Apart from the loop: whether results are final is worked out, and anybody may ask; once for
    # all who ask, and anew as soon as anything happens at the meet or a window opens or closes.
    # Earlier pages are many, and seldom read.
    if before is not None:
        return send_written(request, await here.store.read_apart(written_by), language)
    written = await here.services.boards.get(
        (meet_id, template, said_in),
        here.clock.now(),
        lambda: here.store.read_apart(written_by),
        version,
    )
    return send_written(request, written, language)


@router.get("/meets/{meet}/results/{announcement}")
async def show_result(
    meet: Meet,
    announcement: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    language: Language = None,
) -> Response:
    """One announcement with all that it says, and what is known of it since."""
    frame = await frame_of(here, MeetId(meet))
    ident = AnnouncementId(announcement)
    said = await here.store.read_apart(
        lambda conn: result_posted(conn, MeetId(meet), ident, frame.now)
    )
    shows = {
        "frame": frame,
        "said_then": said,
        "ties": list(parted_ties(said.lines)),
    }
    page = Page("result.html", shows, zone=frame.meet.time_zone, public=True)
    return render(request, page, language)

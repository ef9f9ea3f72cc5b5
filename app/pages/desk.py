"""The results desk: what is to be announced, what runs, and what waits."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query, Request, Response

from app.access.guard import Here
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.pages.allowed import allowed_to
from app.pages.at_desk import desk_of
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = for_readers()


@router.get("/meets/{meet}/desk")
async def show_desk(
    meet: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    language: Language = None,
) -> Response:
    """Heats by what is to be done about them, windows, protests and appeals."""
    frame = await frame_of(here, MeetId(meet))
    may = allowed_to(frame)
    reads = may("GET", "protests")
    # Apart from the loop: whether results are final is worked out.
    desk = await here.store.read_apart(
        lambda conn: desk_of(conn, frame.meet.id, after, frame.now, reads_protests=reads)
    )
    shows = {"frame": frame, "may": may, "desk": desk, "after": after}
    return render(request, Page("desk.html", shows, zone=frame.meet.time_zone), language)

"""The record, for people: how large it is, what its head is now, and how anybody checks it."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Request, Response

from app.access.guard import Here
from app.forms.record_head import PrintedHead
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.record.checkpoints import newest_checkpoint
from app.record.queries import told_head_of

router = for_readers()


@router.get("/meets/{meet}/record")
async def show_record(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """The record's head and its newest signed head, with the way to check them."""
    meet_id = MeetId(meet)
    frame = await frame_of(here, meet_id)
    head = await here.store.read(lambda conn: told_head_of(conn, meet_id))
    newest = await here.store.read(lambda conn: newest_checkpoint(conn, meet_id))
    shows = {
        "frame": frame,
        "head": head,
        "short": PrintedHead(head.size, head.root).short,
        "newest": newest,
        "newest_short": "" if newest is None else PrintedHead(newest.size, newest.root).short,
    }
    return render(request, Page("record.html", shows, zone=frame.meet.time_zone), language)

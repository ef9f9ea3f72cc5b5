"""The jury's place: the appeals that wait and those that were decided, and one appeal with all that
the jury needs to decide it.

The results desk, the referee and the chief umpire read along as far as the service lets them; an
official who is a panel's secretary and reads no appeals finds the decision to sign, nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Path, Query, Request, Response

from app.access.guard import Here
from app.access.who_may import READERS_OF_RECORD
from app.appeals.jury_wire import AppealOut, AppealsOut
from app.appeals.showing import appeals_shown
from app.guarded import for_readers
from app.ids import AppealId, ChosenId, MeetId
from app.pages.appeal import ToSign, appeal_page, appeal_to_sign, reads_papers, to_sign
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = for_readers()

Meet = Annotated[ChosenId, Path()]


@dataclass(frozen=True, slots=True)
class Appeals:
    """A page of appeals: which wait, which are settled, and what this reader signs."""

    waiting: tuple[AppealOut, ...]
    settled: tuple[AppealOut, ...]
    to_sign: tuple[ToSign, ...]
    next: int | None


@router.get("/meets/{meet}/jury")
async def show_jury(
    meet: Meet,
    request: Request,
    here: Here,
    before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
    language: Language = None,
) -> Response:
    """The appeals of a meet, the one that was lodged last first, fifty a page."""
    meet_id = MeetId(meet)
    frame = await frame_of(here, meet_id)
    now = frame.now
    told = await here.store.read_apart(lambda conn: appeals_shown(conn, meet_id, before, now))
    who = here.caller
    signs = [one for appeal in told.appeals if (one := to_sign(appeal, who)) is not None]
    reads = reads_papers(who)
    shows = {
        "frame": frame,
        "appeals": _sorted(told if reads else AppealsOut(appeals=[], next=told.next), signs),
        "reads": reads,
        "reads_record": who.holds(*READERS_OF_RECORD.roles),
    }
    return render(request, Page("jury.html", shows, zone=frame.meet.time_zone), language)


def _sorted(told: AppealsOut, signs: list[ToSign]) -> Appeals:
    """Whatever still awaits something stands first, the longest waiting on top."""
    waiting = [one for one in told.appeals if one.awaits]
    return Appeals(
        waiting=tuple(sorted(waiting, key=lambda one: one.lodged_at)),
        settled=tuple(one for one in told.appeals if not one.awaits),
        to_sign=tuple(signs),
        next=told.next,
    )


@router.get("/meets/{meet}/jury/{appeal}")
async def show_appeal(
    meet: Meet,
    appeal: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    language: Language = None,
) -> Response:
    """One appeal; an official who only signs its decision sees that alone."""
    meet_id, appeal_id = MeetId(meet), AppealId(appeal)
    frame = await frame_of(here, meet_id)
    now = frame.now
    who = here.caller
    if not reads_papers(who):
        sign = await here.store.read_apart(
            lambda conn: appeal_to_sign(conn, meet_id, appeal_id, who, now)
        )
        page = Page("countersign.html", {"frame": frame, "sign": sign}, frame.meet.time_zone)
        return render(request, page, language)
    shown = await here.store.read_apart(
        lambda conn: appeal_page(conn, meet_id, appeal_id, who, now)
    )
    page = Page("appeal.html", {"frame": frame, "shown": shown}, frame.meet.time_zone)
    return render(request, page, language)

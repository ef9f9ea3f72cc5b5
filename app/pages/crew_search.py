"""The page on which a crew is planned: what is wished, the search, and what it has found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.queries import officials_of
from app.access.wire import OfficialOut
from app.crew.actions import is_watching
from app.crew.heats_named import HeatNames
from app.crew.queries import plan_row, posts_of
from app.crew_search.against import against_wishes
from app.crew_search.plannable import plannable
from app.crew_search.queries import last_search, wishes_of
from app.crew_search.telling import told
from app.crew_search.wire import PersonIn
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.meets.queries import heats_held
from app.meets.states import HeatState
from app.pages.frame import frame_of
from app.pages.plan_found import PlanFound
from app.pages.rendering import Language, Page, render
from app.plurals import spans

router = for_readers()


@router.get("/meets/{meet}/organiser/crew-search")
async def show_crew_search(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """Who can be planned, what is pinned, the search that goes on, and the plan that it found."""
    frame = await frame_of(here, MeetId(meet))
    now = here.clock.now()
    seen = await here.store.read_apart(lambda conn: _shown(conn, MeetId(meet), now))
    page = Page("organiser_crew_search.html", {"frame": frame, **seen}, zone=frame.meet.time_zone)
    return render(request, page, language)


def _shown(conn: Connection, meet_id: MeetId, now: datetime) -> Mapping[str, Any]:
    officials = {one.id: one for one in officials_of(conn, meet_id)}
    search, wishes = last_search(conn, meet_id, now), wishes_of(conn, meet_id)
    heats, plan = heats_held(conn, meet_id), plan_row(conn, meet_id)
    to_come = [heat for heat in heats if heat.state is HeatState.TO_COME]
    named = {one.id: one.name for one in officials.values()}
    shown = told(search, named) if search else None
    still_posted = {one.official: one for one in against_wishes(conn, meet_id).dropped}
    still_in = {heat.id for one in still_posted.values() for heat in one.heats}
    who_can = plannable(wishes, officials.values())
    rows = wishes.people or [PersonIn(official=one.id) for one in who_can]
    return {
        "search": shown,
        "found": PlanFound(shown.plan.posts, heats, named) if shown and shown.plan else None,
        "in_force": bool(shown and shown.plan and posts_of(conn, meet_id)),
        "spans": spans,
        "wishes": wishes,
        "officials": officials,
        "who_can": who_can,
        "rows": rows,
        "not_listed": _not_listed(rows, officials.values()),
        "heats": heats,
        "to_come": to_come,
        "timed": [heat for heat in to_come if heat.lanes and heat.scheduled],
        "still_posted": still_posted,
        "still_untimed": [one.id for one in to_come if one.id in still_in and not one.scheduled],
        "names": HeatNames(heats),
        "crew_version": plan.version if plan else 0,
    }


def _not_listed(rows: Sequence[PersonIn], officials: Iterable[OfficialOut]) -> list[PersonIn]:
    """Rows of all others who can watch."""
    listed = {one.official for one in rows}
    others = [one for one in officials if is_watching(one) and one.id not in listed]
    return [PersonIn(official=one.id) for one in others]

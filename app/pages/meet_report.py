"""The page of the meet report: charts and counts, all of them or whoever looks' own."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.queries import Caller
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.meet_report.figures import NOT_TOLD, WITHOUT_WHITE, Section
from app.meet_report.queries import figures_for, names_for, sees_all
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render

router = for_readers()

SECTIONS = (
    Section.ZONE,
    Section.EDGE,
    Section.LANE,
    Section.INFRINGEMENT,
    Section.OFFICIAL,
)


@router.get("/meets/{meet}/meet-report")
async def show_meet_report(
    meet: Annotated[ChosenId, Path()], request: Request, here: Here, language: Language = None
) -> Response:
    """Where was called, how it was ruled, how long it took, and how it all ended."""
    frame = await frame_of(here, MeetId(meet))
    seen = await here.store.read_apart(lambda conn: _shown(conn, MeetId(meet), here.caller))
    page = Page("meet_report.html", {"frame": frame, **seen}, zone=frame.meet.time_zone)
    return render(request, page, language)


def _shown(conn: Connection, meet_id: MeetId, who: Caller) -> Mapping[str, Any]:
    figures = figures_for(conn, meet_id, who)
    return {
        "figures": figures,
        "names": names_for(conn, meet_id, who),
        "is_all": sees_all(who),
        "sections": [(section, figures.by(section)) for section in SECTIONS],
        "bars": [one for one in figures.by(Section.ZONE_AND_EDGE) if one.reports],
        "not_told": NOT_TOLD,
        "without_white": WITHOUT_WHITE,
    }

"""The page of the zone survey: where a relay's lines must lie, and what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import Path, Query, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.guarded import for_readers
from app.ids import ChosenId, MeetId
from app.meets.queries import meet_facts
from app.meets.track import track_note
from app.pages.frame import frame_of
from app.pages.rendering import Language, Page, render
from app.rules.relay import Relay
from app.surveys.queries import meet_zones, on_programme, tolerance_of
from app.surveys.telling import told_zone
from app.surveys.zones import lap_note

router = for_readers()


@router.get("/meets/{meet}/organiser/survey")
async def show_survey(
    meet: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    relay: Annotated[Relay | None, Query(description="left out, the first one")] = None,
    language: Language = None,
) -> Response:
    """A relay's zones line by line, what was measured there, and taking in a list."""
    frame = await frame_of(here, MeetId(meet))
    seen = await here.store.read_apart(lambda conn: _shown(conn, MeetId(meet), relay))
    page = Page("organiser_survey.html", {"frame": frame, **seen}, zone=frame.meet.time_zone)
    return render(request, page, language)


def _shown(conn: Connection, meet_id: MeetId, asked: Relay | None) -> Mapping[str, Any]:
    facts = meet_facts(conn, meet_id)
    if track_note(facts.track):
        nothing: Mapping[str, Any] = {"relays": [], "zones": [], "left_out": []}
        return {**nothing, "relay": None, "tolerance": None, "lap_note": ""}
    known, wanted = meet_zones(conn, meet_id), on_programme(conn, meet_id)
    left_out = known.left_out(wanted)
    relays = [relay for relay in wanted if relay not in left_out]
    relay = asked if asked and not known.left_out([asked]) else next(iter(relays), None)
    return {
        "relays": relays,
        "relay": relay,
        "zones": [told_zone(one) for one in known.of([relay] if relay else [])],
        "tolerance": tolerance_of(facts),
        "left_out": left_out,
        "lap_note": lap_note(known.track),
        "track": known.track,
    }

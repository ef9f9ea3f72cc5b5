"""What the survey sheets of a meet are drawn from."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.clock import at_the_meet
from app.forms.sheet_head import MeetHead
from app.forms.survey_sheet import SurveySheets
from app.ids import MeetId
from app.refusals import NotFound
from app.rules.relay import Relay
from app.surveys.queries import MeetZones, meet_zones, on_programme, tolerance_of
from app.surveys.sheets import SurveyOf, on_sheets
from app.surveys.zones import Zone


def sheets_of(
    conn: Connection, meet_id: MeetId, relay: Relay | None, now: datetime
) -> SurveySheets:
    """The sheets of all relays on the programme, or of one; NotFound where no zone is known."""
    known = meet_zones(conn, meet_id)
    facts = known.facts
    of = SurveyOf(
        MeetHead(facts.name, facts.venue, facts.days, facts.time_zone),
        f"{facts.book.title}, {facts.book.edition}",
        known.track,
        tolerance_of(facts),
        at_the_meet(now, facts.time_zone),
    )
    return on_sheets(of, _wanted(conn, known, relay))


def zones_wanted(conn: Connection, meet_id: MeetId, relay: Relay | None) -> list[Zone]:
    """The zones of all relays on the programme, or of one; NotFound where none is known."""
    return _wanted(conn, meet_zones(conn, meet_id), relay)


def _wanted(conn: Connection, known: MeetZones, relay: Relay | None) -> list[Zone]:
    relays = on_programme(conn, known.facts.id) if relay is None else [relay]
    zones = known.of(relays)
    if not zones:
        raise NotFound(f"No zone of these relays is known on this track: {', '.join(relays)}.")
    return zones

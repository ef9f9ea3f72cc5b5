"""What the survey sheets of a meet are drawn from."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.clock import at_the_meet
from app.forms.sheet_head import MeetHead
from app.forms.survey_sheet import SurveySheets
from app.ids import MeetId
from app.meets.queries import meet_facts
from app.refusals import NotFound
from app.rules.relay import TAKE_OVERS, Relay
from app.surveys import queries
from app.surveys.sheets import SurveyOf, on_sheets
from app.surveys.zones import Zone


def sheets_of(
    conn: Connection, meet_id: MeetId, relay: Relay | None, now: datetime
) -> SurveySheets:
    """The sheets of all relays on the programme, or of one; NotFound where no zone is known."""
    facts = meet_facts(conn, meet_id)
    days = [facts.first_day.isoformat(), facts.last_day.isoformat()]
    of = SurveyOf(
        MeetHead(facts.name, facts.venue, " to ".join(dict.fromkeys(days)), facts.time_zone),
        f"{facts.book.title}, {facts.book.edition}",
        queries.surveyable(facts),
        queries.tolerance_of(facts),
        at_the_meet(now, facts.time_zone),
    )
    return on_sheets(of, wanted(conn, meet_id, relay))


def wanted(conn: Connection, meet_id: MeetId, relay: Relay | None) -> list[Zone]:
    """The zones of all relays on the programme, or of one; NotFound where none is known."""
    if relay is not None:
        return [queries.zone_of(conn, meet_id, relay, number) for number in TAKE_OVERS]
    zones = queries.zones_of(conn, meet_id)
    if not zones:
        raise NotFound("No zone of the relays on the programme is known on this track.")
    return zones

"""A meet report on paper, gathered for whoever asks."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.access.queries import Caller
from app.clock import at_the_meet
from app.forms.meet_report_sheet import MeetReportSheet
from app.forms.sheet_head import MeetHead
from app.ids import MeetId
from app.meet_report.queries import figures_for, names_for, sees_all
from app.meet_report.sheets import Printing, on_sheet
from app.meets.queries import meet_facts


def sheet_for(conn: Connection, meet_id: MeetId, caller: Caller, now: datetime) -> MeetReportSheet:
    """What a caller may print: all figures, or their own."""
    facts = meet_facts(conn, meet_id)
    of = Printing(
        MeetHead(facts.name, facts.venue, facts.days, facts.time_zone),
        "the whole crew" if sees_all(caller) else caller.name,
        at_the_meet(now, facts.time_zone),
    )
    figures, names = figures_for(conn, meet_id, caller), names_for(conn, meet_id, caller)
    return on_sheet(of, figures, names)

"""How many lane infringements stand against a team, over all rounds of its event.

Since 1 November 2021 a first one can be tolerated and is noted as L; the next, by whichever member
of the team and in whichever round, disqualifies (World Athletics TR17.4 in the numbering of 2021).
A team here is a team in one event, so counting by team counts over the event's rounds.
"""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, func, select

from app.ids import MeetId, TeamId
from app.rules.finding import Consequence
from app.rulings.tables import rulings

_NOTED = (
    select(func.count())
    .select_from(rulings)
    .where(
        rulings.c.meet_id == bindparam("meet"),
        rulings.c.team_id == bindparam("team"),
        rulings.c.effect == Consequence.NOTED.value,
        rulings.c.replaced_by.is_(None),
    )
)


def earlier_lane_infringements(conn: Connection, meet_id: MeetId, team_id: TeamId) -> int:
    """The tolerated lane infringements that rulings have noted against a team."""
    return conn.execute(_NOTED, {"meet": meet_id, "team": team_id}).scalar_one()

"""How many lane infringements stand against a team, over all rounds of its event.

Since 1 November 2021 a first one can be tolerated and is noted as L; the next, by whichever member
of the team and in whichever round, disqualifies (World Athletics TR17.4 in the numbering of 2021).
A team here is a team in one event, so counting by team counts over the event's rounds.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, select

from app.ids import MeetId, RulingId, TeamId
from app.rules.finding import Consequence
from app.rulings.tables import rulings

_NOTED = (
    select(rulings.c.id, rulings.c.separate)
    .where(
        rulings.c.meet_id == bindparam("meet"),
        rulings.c.team_id == bindparam("team"),
        rulings.c.effect == Consequence.NOTED.value,
        rulings.c.replaced_by.is_(None),
    )
    .order_by(rulings.c.ruled_at, rulings.c.id)
)


@dataclass(frozen=True, slots=True)
class Noted:
    """The lane infringements that stand against a team, and the rulings that noted them."""

    count: int
    by: tuple[RulingId, ...]


def noted_against(conn: Connection, meet_id: MeetId, team_id: TeamId) -> Noted:
    """The tolerated lane infringements that rulings have noted against a team."""
    rows = conn.execute(_NOTED, {"meet": meet_id, "team": team_id}).all()
    return Noted(sum(row.separate for row in rows), tuple(row.id for row in rows))

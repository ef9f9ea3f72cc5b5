"""Where did a team run that protests or appeals about another heat of its round?"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection

from app.appeals.in_round import other_heats_of
from app.appeals.which_heat import heat_called
from app.ids import HeatId, MeetId, TeamId
from app.meets.queries import heat


class Ran(NamedTuple):
    """In which heat a team ran, as it is called, in which lane, and its bib."""

    heat: str
    lane: int
    bib: str


def ran_elsewhere(conn: Connection, meet_id: MeetId, heat_id: HeatId, team: TeamId) -> Ran | None:
    """The first other heat of the round in which a team runs that has no lane in this one; None
    where it has one here, and for a team from outside the round.
    """
    if any(line.team == team for line in heat(conn, meet_id, heat_id).lanes):
        return None
    for other in other_heats_of(conn, heat_id, [team]):
        line = next(one for one in heat(conn, meet_id, other).lanes if one.team == team)
        return Ran(heat_called(conn, meet_id, other), line.lane, line.bib)
    return None

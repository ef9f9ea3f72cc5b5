"""What does a meet already have, when a start list comes?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, false, select, true

from app.ids import EventId, HeatId, MeetId, TeamId
from app.meets.queries import heats_called_off, teams_to_run_again, teams_with_cases
from app.meets.states import HeatState
from app.meets.tables import events, heats, lanes, teams

EventKey = str
TeamKey = tuple[EventKey, str]
HeatKey = tuple[EventKey, str, int]
Running = dict[int, tuple[str, str, tuple[str, ...]]]


class TeamFacts(NamedTuple):
    """How a team is written, and for whom it runs."""

    name: str
    affiliation: str


@dataclass(slots=True)
class Known:
    """What the meet already has."""

    events: dict[EventKey, tuple[EventId, str]] = field(default_factory=dict)
    teams: dict[TeamKey, tuple[TeamId, TeamFacts]] = field(default_factory=dict)
    heats: dict[HeatKey, tuple[HeatId, HeatState, str | None]] = field(default_factory=dict)
    running: dict[HeatId, Running] = field(default_factory=dict)
    drawn: dict[HeatId, dict[TeamId, int]] = field(default_factory=dict)
    with_cases: Mapping[tuple[HeatId, TeamId], str] = field(default_factory=dict)
    to_run_again: Mapping[tuple[HeatId, TeamId], str] = field(default_factory=dict)
    called_off: frozenset[HeatId] = frozenset()
    raced: set[EventKey] = field(default_factory=set)
    last_position: int = 0


_REHEARSED = select(heats.c.event_id).where(
    heats.c.meet_id == bindparam("meet"), heats.c.rehearsal == true()
)


def read_known(conn: Connection, meet_id: MeetId) -> Known:
    """What the meet already has, in a few statements whatever its size. Of rehearsals only that
    they take a place on the programme.
    """
    known = Known()
    names: dict[str, EventKey] = {}
    rehearsed = set(conn.execute(_REHEARSED, {"meet": meet_id}).scalars())
    for row in conn.execute(select(events).where(events.c.meet_id == meet_id)):
        if row.id in rehearsed:
            continue
        known.events[row.name_key] = (row.id, row.relay)
        known.raced.add(row.name_key)
        names[row.id] = row.name_key
    for row in conn.execute(select(teams).where(teams.c.meet_id == meet_id)):
        if row.event_id in rehearsed:
            continue
        known.teams[names[row.event_id], row.name_key] = (
            row.id,
            TeamFacts(row.name, row.affiliation),
        )
    for row in conn.execute(select(heats).where(heats.c.meet_id == meet_id)):
        known.last_position = max(known.last_position, row.position)
        if row.rehearsal:
            continue
        state = HeatState(row.state)
        known.heats[names[row.event_id], row.round_key, row.number] = (row.id, state, row.scheduled)
    statement = (
        select(lanes, teams.c.name_key)
        .join(teams, teams.c.id == lanes.c.team_id)
        .join(heats, heats.c.id == lanes.c.heat_id)
        .where(teams.c.meet_id == meet_id, heats.c.rehearsal == false())
    )
    known.with_cases = teams_with_cases(conn, meet_id)
    known.called_off = heats_called_off(conn, meet_id)
    known.to_run_again = teams_to_run_again(conn, meet_id)
    for row in conn.execute(statement):
        heat = known.running.setdefault(row.heat_id, {})
        heat[row.lane] = (row.name_key, row.bib, tuple(row.legs))
        known.drawn.setdefault(row.heat_id, {})[row.team_id] = row.lane
    return known

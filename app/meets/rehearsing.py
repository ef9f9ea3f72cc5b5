"""A rehearsal: a heat of its own event and its own teams, of which nothing counts.

It stands beside the programme, so that nothing that is read by event, by round, by team or by
result can find it. What would make a result of it is refused here, by one sentence.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import Connection, bindparam, func, insert, select, true

from app.ids import EventId, HeatId, MeetId, TeamId, new_id
from app.meets.actions import set_heat_state
from app.meets.queries import heats_from, is_rehearsal
from app.meets.states import REHEARSAL_TABLE, HeatState, RehearsalAct
from app.meets.tables import events, heats, lanes, teams
from app.meets.wire import HeatOut
from app.refusals import StateConflict
from app.rules.relay import Relay
from app.store.action import Unit
from app.visible import likeness

ROUND = "rehearsal"
MOST_SHOWN = 50

_OF_MEET = (heats.c.meet_id == bindparam("meet"), heats.c.rehearsal == true())
_GOING_ON = (
    select(func.count()).select_from(heats).where(*_OF_MEET, heats.c.state != HeatState.ENDED.value)
)
_COUNT = select(func.count()).select_from(heats).where(*_OF_MEET)
_LAST = select(func.coalesce(func.max(heats.c.position), 0)).where(
    heats.c.meet_id == bindparam("meet")
)


def insist_no_rehearsal(conn: Connection, heat_id: HeatId) -> None:
    """StateConflict for a rehearsal, of which there is no result, ruling or protest."""
    if is_rehearsal(conn, heat_id):
        raise StateConflict(
            "This is a rehearsal: nothing of it counts, so it has no result, no round, no ruling, "
            "no protest and no case file. Do this with a heat of the programme; a rehearsal is "
            f"ended at …/rehearsals/{heat_id}/end, and its cases with it. Nothing was stored."
        )


def rehearsals_going_on(conn: Connection, meet_id: MeetId) -> int:
    """How many rehearsals of a meet have not ended."""
    return conn.execute(_GOING_ON, {"meet": meet_id}).scalar_one()


def rehearsals(conn: Connection, meet_id: MeetId) -> list[HeatOut]:
    """The rehearsals of a meet, the last one first, fifty at most."""
    return heats_from(conn, _OF_MEET, {"meet": meet_id}, MOST_SHOWN)


def add_rehearsal(unit: Unit, heat_id: HeatId, relay: Relay, in_lanes: Collection[int]) -> None:
    """A rehearsal, after all else on the programme, with a team in each of these lanes."""
    event_id = EventId(new_id())
    unit.conn.execute(
        insert(events).values(
            id=event_id,
            meet_id=unit.meet_id,
            # In capitals, so that every page and paper says it that shows its name.
            name=f"REHEARSAL {relay}",
            # And under a key that no name of a start list has: keys are without capitals.
            name_key=f"REHEARSAL {heat_id}",
            relay=relay.value,
        )
    )
    where = {"meet": unit.meet_id}
    unit.conn.execute(
        insert(heats).values(
            id=heat_id,
            meet_id=unit.meet_id,
            event_id=event_id,
            round=ROUND,
            round_key=likeness(ROUND),
            number=unit.conn.execute(_COUNT, where).scalar_one() + 1,
            position=unit.conn.execute(_LAST, where).scalar_one() + 1,
            state=HeatState.TO_COME.value,
            run=0,
            rehearsal=True,
            version=1,
        )
    )
    for lane in sorted(in_lanes):
        _add_team(unit, heat_id, event_id, lane)


def _add_team(unit: Unit, heat_id: HeatId, event_id: EventId, lane: int) -> None:
    team_id, name = TeamId(new_id()), f"Rehearsal team {lane}"
    team = {"name": name, "name_key": likeness(name), "affiliation": ""}
    unit.conn.execute(
        insert(teams).values(id=team_id, meet_id=unit.meet_id, event_id=event_id, **team)
    )
    unit.conn.execute(
        insert(lanes).values(heat_id=heat_id, lane=lane, team_id=team_id, bib="", legs=[])
    )


def end_rehearsal_heat(unit: Unit, known: HeatOut) -> None:
    """Nobody starts it, or runs it, any more. NotPossible where that was said before."""
    step = REHEARSAL_TABLE.step(known.state, RehearsalAct.END)
    set_heat_state(unit, known.id, step.becomes)

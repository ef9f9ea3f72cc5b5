"""What a decision on a protest or an appeal does to disqualifications.

Like a ruling, it sets one aside or puts one on the result, and is named by it. Setting aside keeps
what was; a later decision may put it in force again.
"""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection, bindparam, insert, select, update

from app.ids import DecisionId, DisqualificationId, HeatId, MeetId, TeamId
from app.meets.queries import heat
from app.meets.wire import HeatOut
from app.refusals import NotFound, StateConflict
from app.rules.observation import Infringement
from app.rulings.states import (
    DISQUALIFICATION_TABLE,
    DisqualificationAct,
    DisqualificationState,
)
from app.rulings.tables import disqualifications
from app.store.action import Unit
from app.store.rows import AnyRow

Changes = Mapping[str, str | int | None]

_ONE = select(disqualifications).where(
    disqualifications.c.meet_id == bindparam("meet"), disqualifications.c.id == bindparam("one")
)


def disqualification_in(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, one: DisqualificationId
) -> AnyRow:
    """A disqualification of this heat; NotFound for any other id, which says where one is that was
    made in another heat.
    """
    row = conn.execute(_ONE, {"meet": meet_id, "one": one}).one_or_none()
    if row is None:
        raise NotFound("There is no such disqualification in this heat.")
    if row.heat_id != heat_id:
        made_in = heat(conn, meet_id, HeatId(row.heat_id))
        raise NotFound(
            "There is no such disqualification in this heat: it was made in "
            f"{made_in.round}, heat {made_in.number}, and is decided on by a protest there.",
            heat=made_in.id,
        )
    return row


def set_aside(unit: Unit, known: AnyRow, decision: DecisionId) -> None:
    """It no longer counts."""
    _move(unit, known, DisqualificationAct.SET_ASIDE, {"set_aside_by": decision})


def restore(unit: Unit, known: AnyRow, decision: DecisionId) -> None:
    """It counts again, in the present run of its heat."""
    run = heat(unit.conn, unit.meet_id, HeatId(known.heat_id)).present_run
    changes: Changes = {"set_aside_by": None, "by_decision": decision, "run": run}
    _move(unit, known, DisqualificationAct.RESTORE, changes)


def _move(unit: Unit, known: AnyRow, what: DisqualificationAct, changes: Changes) -> None:
    step = DISQUALIFICATION_TABLE.step(DisqualificationState(known.state), what)
    claimed = unit.conn.execute(
        update(disqualifications)
        .where(disqualifications.c.id == known.id, disqualifications.c.version == known.version)
        .values(state=step.becomes.value, since=unit.now, version=known.version + 1, **changes)
    )
    if claimed.rowcount != 1:
        raise StateConflict("This disqualification was changed meanwhile. Read it again.")


def disqualify(
    unit: Unit,
    facts: HeatOut,
    one: DisqualificationId,
    team: TeamId,
    infringement: Infringement,
    rule: str,
    take_over: int | None,
    decision: DecisionId,
) -> None:
    """A team of the heat is disqualified by a decision, without a case."""
    lane = next(line.lane for line in facts.lanes if line.team == team)
    unit.conn.execute(
        insert(disqualifications).values(
            id=one,
            meet_id=unit.meet_id,
            heat_id=facts.id,
            team_id=team,
            lane=lane,
            take_over=take_over,
            infringement=infringement.value,
            rule=rule,
            state=DisqualificationState.IN_FORCE.value,
            since=unit.now,
            by_decision=decision,
            run=facts.present_run,
            version=1,
        )
    )

"""May the referee decide on a protest once more?

One that was rejected while it was late, and is in time by a time that was put right since, was not
heard for want of time. The referee then decides it as if for the first time, and the further
decision replaces the first. Not where it had been heard all the same, and not once somebody has
appealed: then it lies with the jury. That a mistaken refusal to hear somebody is put right by who
made it is common practice.
"""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, select, update

from app.appeals.states import AppealState, ProtestState
from app.appeals.tables import appeals, decisions
from app.appeals.wire import Mark, Timeliness
from app.ids import DecisionId
from app.store.action import Unit
from app.store.rows import AnyRow

_APPEALED = select(appeals.c.id).where(
    appeals.c.protest_id == bindparam("protest"),
    appeals.c.state != AppealState.WITHDRAWN.value,
)


def may_be_decided_again(
    conn: Connection, protest: AnyRow, decided: AnyRow | None, timely: Timeliness
) -> bool:
    """Whether a protest that the referee has decided awaits the referee's word once more."""
    if decided is None or protest.state != ProtestState.REJECTED or not timely.in_time:
        return False
    if not was_not_heard(decided):
        return False
    return conn.execute(_APPEALED, {"protest": protest.id}).first() is None


def was_not_heard(decided: AnyRow) -> bool:
    """Whether a protest was late, and not heard all the same, when it was rejected."""
    # Before that was kept with the decision, nobody can say why a protest was rejected.
    was_late = Mark.LATE in decided.statement.get("marks", ())
    return was_late and decided.heard_because is None


def replace_decision(unit: Unit, earlier: DecisionId, by: DecisionId) -> None:
    """The earlier decision no longer stands: the later one does."""
    unit.conn.execute(update(decisions).where(decisions.c.id == earlier).values(replaced_by=by))

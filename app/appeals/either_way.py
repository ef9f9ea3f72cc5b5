"""What would an appeal move if the team got what it asks for, and what if it were rejected?

An appeal that was not decided before moves nothing if it is rejected; one that was reopened takes
back what the jury had ordered. Where nothing can be foreseen, a sentence says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.appeals.bench import Bench, bench_for
from app.appeals.carrying import shown_for
from app.appeals.decision_queries import decision_row, referees_decision
from app.appeals.hearing_again import shown_again
from app.appeals.orders import OrderIn, SetAsideIn, UndoIn
from app.appeals.queries import protest_row
from app.appeals.states import AppealState
from app.appeals.wire import Instance
from app.ids import DecisionId, HeatId, MeetId, ProtestId, RulingId
from app.meets.queries import MeetFacts
from app.refusals import Refusal
from app.rounds.wire import ConsequencesOut
from app.rulings.queries import disqualifications_of_ruling
from app.rulings.states import DisqualificationState
from app.store.rows import AnyRow

_ORDERS: TypeAdapter[list[OrderIn]] = TypeAdapter(list[OrderIn])

_REFERRED = "The referee passed the protest on, and nobody has asked for an order"
_NOTHING_SOUGHT = (
    "The team names no order, and there is no order and no disqualification that granting it would "
    "undo"
)
_TRY = "What orders would move can be tried before anything is decided."
_STAYS = (
    "It was reopened: what the jury ordered before stays until it decides anew, so what is ordered "
    "again the same moves nothing."
)


class EitherWay(NamedTuple):
    """What would move in the two cases, None where that is not foreseen, and a word on it."""

    granted: ConsequencesOut | None
    rejected: ConsequencesOut | None
    note: str


def either_way(conn: Connection, meet: MeetFacts, row: AnyRow) -> EitherWay:
    """What is shown to the jury before it decides; of what was reopened, also if it is rejected."""
    wanted = sought_by(conn, meet.id, row)
    bench = bench_for(conn, meet, HeatId(row.heat_id), Instance.JURY)
    granted, why_not = _granted(bench, row, wanted) if wanted else (None, _nothing_sought(row))
    if row.reopened is not None and row.state == AppealState.LODGED:
        rejected, stays = _moved_again(bench, row, ())
        return EitherWay(granted, rejected, " ".join(filter(None, (_STAYS, why_not, stays))))
    return EitherWay(granted, None, why_not)


def _nothing_sought(row: AnyRow) -> str:
    return f"{_REFERRED if row.is_referred else _NOTHING_SOUGHT}. {_TRY}"


def sought_by(conn: Connection, meet_id: MeetId, row: AnyRow) -> list[OrderIn]:
    """What an appeal asks for: as it says, or that what it is against is undone."""
    if row.sought:
        return _ORDERS.validate_python(row.sought)
    decided = referees_decision(conn, meet_id, ProtestId(row.protest_id))
    if decided is not None and decided.carried_out:
        return [UndoIn(order="undo", decision=decided.id)]
    ruling = protest_row(conn, meet_id, ProtestId(row.protest_id)).ruling_id
    if ruling is None:
        return []
    return [
        SetAsideIn(order="set aside", disqualification=one.id)
        for one in disqualifications_of_ruling(conn, meet_id, RulingId(ruling))
        if one.state is DisqualificationState.IN_FORCE
    ]


def if_granted(conn: Connection, meet: MeetFacts, row: AnyRow) -> ConsequencesOut | None:
    """What would move if the appellant got what it asks for; None where that is not said, or can no
    longer be ordered.
    """
    wanted = sought_by(conn, meet.id, row)
    if not wanted:
        return None
    return _granted(bench_for(conn, meet, HeatId(row.heat_id), Instance.JURY), row, wanted)[0]


def if_taken_back(bench: Bench, row: AnyRow) -> ConsequencesOut | None:
    """What would move if the decision that is looked at again did not stand; None for no such."""
    return None if row.reopened is None else _moved_again(bench, row, ())[0]


def _granted(
    bench: Bench, row: AnyRow, wanted: Sequence[OrderIn]
) -> tuple[ConsequencesOut | None, str]:
    """What would move, or why these orders can no longer be given."""
    if row.reopened is not None:
        return _moved_again(bench, row, wanted)
    try:
        return shown_for(bench, wanted)[1], ""
    except Refusal as refused:
        return None, f"What is asked for cannot be ordered now: {refused.detail}"


def _moved_again(
    bench: Bench, row: AnyRow, wanted: Sequence[OrderIn]
) -> tuple[ConsequencesOut | None, str]:
    """The same where the appeal is looked at again: what was granted before stays."""
    earlier = decision_row(bench.conn, bench.meet_id, DecisionId(row.reopened["decision"]))
    try:
        return shown_again(bench, earlier, wanted, is_done=False)[1], ""
    except Refusal as refused:
        what = "What is asked for cannot be ordered now" if wanted else "It cannot be rejected now"
        return None, f"{what}: {refused.detail}"

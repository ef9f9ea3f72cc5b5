"""What waits for somebody at a meet: protests for the referee, appeals for the jury, and decisions
for the desk, which tells them to those who protested.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, Select, literal_column, select

from app.appeals.queries import APPEAL_COLUMNS, PROTEST_COLUMNS
from app.appeals.states import OPEN, ProtestState
from app.appeals.tables import appeals, decisions, protests
from app.appeals.wire import Instance
from app.ids import AppealId, HeatId, MeetId, ProtestId
from app.rulings.jurys_word import JURY_HAS_SETTLED
from app.store.rows import AnyRow

_LODGED = PROTEST_COLUMNS.where(protests.c.state == ProtestState.LODGED.value)
_BEFORE_JURY = APPEAL_COLUMNS.where(appeals.c.state.in_([state.value for state in OPEN]))
_TO_BE_TOLD = PROTEST_COLUMNS.where(
    select(decisions.c.id)
    .where(
        decisions.c.protest_id == protests.c.id,
        decisions.c.instance == Instance.REFEREE.value,
        decisions.c.verdict.in_((ProtestState.UPHELD.value, ProtestState.REJECTED.value)),
        decisions.c.carried_out == literal_column("'[]'"),
        decisions.c.advised_at.is_(None),
        decisions.c.replaced_by.is_(None),
        ~JURY_HAS_SETTLED,
    )
    .exists()
)


class For(StrEnum):
    """For whom something waits."""

    REFEREE = "referee"
    JURY = "jury"
    DESK = "desk"


@dataclass(frozen=True, slots=True)
class Waiting:
    """A protest, or an appeal on one, and who is to do something about it."""

    waits_for: For
    protest: ProtestId
    appeal: AppealId | None
    number: int
    heat: HeatId
    event_name: str
    round: str
    heat_number: int
    team_name: str
    lodged_at: datetime


def all_waiting(conn: Connection, meet_id: MeetId) -> list[Waiting]:
    """What waits at a meet, the oldest first."""
    found = [
        *_waiting(conn, meet_id, _LODGED, For.REFEREE),
        *_waiting(conn, meet_id, _BEFORE_JURY, For.JURY),
        *_waiting(conn, meet_id, _TO_BE_TOLD, For.DESK),
    ]
    return sorted(found, key=lambda one: (one.lodged_at, one.number))


def _waiting(
    conn: Connection, meet_id: MeetId, which: Select[tuple[object, ...]], whom: For
) -> Iterator[Waiting]:
    for row in conn.execute(which, {"meet": meet_id}).all():
        yield _waiting_for(row, whom)


def _waiting_for(row: AnyRow, whom: For) -> Waiting:
    is_appeal = whom is For.JURY
    return Waiting(
        waits_for=whom,
        protest=row.protest_id if is_appeal else row.id,
        appeal=row.id if is_appeal else None,
        number=row.number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        team_name=row.team_name,
        lodged_at=row.lodged_at,
    )

"""Which protests about heats await the referee once more, since they were in time after all?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, bindparam, select

from app.appeals.once_more import may_be_decided_again, was_not_heard
from app.appeals.queries import measured
from app.appeals.states import ProtestState
from app.appeals.tables import decisions, protests
from app.appeals.wire import Instance
from app.ids import HeatId

_REJECTED = (
    select(protests, decisions.c.statement, decisions.c.heard_because)
    .join(decisions, decisions.c.protest_id == protests.c.id)
    .where(
        protests.c.heat_id.in_(bindparam("heats", expanding=True)),
        protests.c.state == ProtestState.REJECTED.value,
        decisions.c.instance == Instance.REFEREE.value,
        decisions.c.replaced_by.is_(None),
    )
    .order_by(protests.c.number)
)


def awaiting_once_more(
    conn: Connection, heat_ids: Iterable[HeatId], zone: str
) -> Mapping[HeatId, list[int]]:
    """The numbers of the protests about heats that await the referee's word once more."""
    found: dict[HeatId, list[int]] = {}
    for row in conn.execute(_REJECTED, {"heats": list(heat_ids)}).all():
        if was_not_heard(row) and may_be_decided_again(conn, row, row, measured(conn, row, zone)):
            found.setdefault(row.heat_id, []).append(row.number)
    return found

"""The head official's pointer: setting it, and reading which heat is now.

Of a long programme only those heats are read that the rule can choose: the one pointed at, the one
started last, and the first two to come after each of them and from the beginning.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, bindparam, select, update

from app.ids import HeatId, MeetId
from app.meets.heat_now import NowAndNext, Standing, find_heat_now
from app.meets.queries import IS_NOT_CALLED_OFF, heat, meet_row
from app.meets.states import HeatState
from app.meets.tables import heats, meets
from app.meets.wire import HeatNowIn, HeatNowOut
from app.record.kinds import Kind
from app.refusals import StateConflict
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.prepared import Prepared

CAN_BE_NOW = frozenset({HeatState.TO_COME, HeatState.RUNNING})

_STANDING = select(
    heats.c.id, heats.c.position, heats.c.state, heats.c.started_at, heats.c.rehearsal
).where(
    heats.c.meet_id == bindparam("meet"),
    IS_NOT_CALLED_OFF,
)
_POINTED_AT = Prepared(_STANDING.where(heats.c.id == bindparam("heat")))
_STARTED_LAST = Prepared(
    _STANDING.where(heats.c.started_at.is_not(None), heats.c.rehearsal.is_(False))
    .order_by(heats.c.started_at.desc(), heats.c.position.desc())
    .limit(1)
)
_TO_COME = Prepared(
    _STANDING.where(
        heats.c.state == HeatState.TO_COME.value,
        heats.c.rehearsal.is_(False),
        heats.c.position > bindparam("after"),
    )
    .order_by(heats.c.position)
    .limit(2)
)


def point_at(sent: HeatNowIn) -> Action[Put[HeatId]]:
    """The head official says which heat is now. The same again is the same."""

    def act(unit: Unit) -> Done[Put[HeatId]]:
        asked = HeatId(sent.heat)
        before = meet_row(unit.conn, unit.meet_id).heat_now
        if before == asked:
            return Done(Put(asked, created=False), None)
        state = heat(unit.conn, unit.meet_id, asked).state
        if state not in CAN_BE_NOW:
            raise StateConflict(
                f"This heat is “{state}”, so it cannot be the heat now. Point at one that is to "
                "come; one that is to run again is held back first. Nothing was stored.",
                field="/heat",
            )
        set_heat_now(unit, asked)
        deed = Deed(Kind.HEAT_NOW, asked, {"before": before})
        return Done(Put(asked, created=before is None), deed)

    return act


def set_heat_now(unit: Unit, heat_id: HeatId) -> None:
    """Point at a heat; the caller has looked at it."""
    unit.conn.execute(update(meets).where(meets.c.id == unit.meet_id).values(heat_now=heat_id))


def now_and_next(conn: Connection, meet_id: MeetId) -> NowAndNext:
    """Which heat of a meet is now, and which is next; NotFound for an unknown meet."""
    pointed_at = meet_row(conn, meet_id).heat_now
    return find_heat_now(_to_choose_from(conn, meet_id, pointed_at), pointed_at)


def heat_now(conn: Connection, meet_id: MeetId) -> HeatNowOut:
    """The same with all that is known of the two heats."""
    found = now_and_next(conn, meet_id)
    return HeatNowOut(
        now=heat(conn, meet_id, found.now) if found.now else None,
        next=heat(conn, meet_id, found.next) if found.next else None,
    )


def _to_choose_from(conn: Connection, meet_id: MeetId, pointed_at: HeatId | None) -> set[Standing]:
    where: dict[str, Any] = {"meet": meet_id}
    found = set(_standings(_STARTED_LAST, conn, where))
    if pointed_at is not None:
        found.update(_standings(_POINTED_AT, conn, where | {"heat": pointed_at}))
    after = {0, *(one.position for one in found)}
    for position in sorted(after):
        found.update(_standings(_TO_COME, conn, where | {"after": position}))
    return found


def _standings(statement: Prepared, conn: Connection, where: dict[str, Any]) -> Iterator[Standing]:
    for row in statement.all(conn, where):
        state = HeatState(row.state)
        yield Standing(row.id, row.position, state, row.started_at, bool(row.rehearsal))

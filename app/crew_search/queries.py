"""Reading what a meet's crew is planned from."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, select

from app.crew_search.tables import crew_wishes
from app.crew_search.wire import WishesOut
from app.ids import MeetId
from app.store.prepared import Prepared

_WISHES = Prepared(select(crew_wishes).where(crew_wishes.c.meet_id == bindparam("meet")))


def wishes_of(conn: Connection, meet_id: MeetId) -> WishesOut:
    """As stored; nothing in particular, and version 0, where nothing was."""
    row = _WISHES.first(conn, {"meet": meet_id})
    return WishesOut(version=0) if row is None else WishesOut(version=row.version, **row.content)

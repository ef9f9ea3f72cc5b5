"""When does time alone next change what a meet tells of its results?

What is done has its entry in the record. What is not done but comes by itself is the beginning and
the end of a window: also of one whose announcement was stamped a little ahead, after a clock was
set back, and of a time for appeals that is counted without any announcement.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, case, func, or_, select

from app.appeals.about_not_held import times_where_not_held
from app.ids import MeetId
from app.meets.queries import not_held_in
from app.results.tables import windows

_NOW = bindparam("now", type_=windows.c.opened_at.type)
_NEXT = select(
    func.min(case((windows.c.opened_at > _NOW, windows.c.opened_at), else_=windows.c.closes_at))
).where(
    windows.c.meet_id == bindparam("meet"),
    or_(windows.c.closes_at >= _NOW, windows.c.closes_at.is_(None)),
)


def next_change(conn: Connection, meet_id: MeetId, now: datetime) -> datetime | None:
    """The instant, from now on, at which the next window opens or after which it is closed; None
    where no time runs or will.
    """
    stored: datetime | None = conn.execute(_NEXT, {"meet": meet_id, "now": now}).scalar_one()
    counted = times_where_not_held(conn, meet_id, not_held_in(conn, meet_id))
    edges = [
        one.opened_at if one.opened_at > now else one.closes_at
        for those in counted.values()
        for one in those
    ]
    coming = (one for one in (stored, *edges) if one is not None and one >= now)
    return min(coming, default=None)

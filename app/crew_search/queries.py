"""Reading what a meet's crew is planned from, and the searches for a plan."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from app.crew_search.kept import Search, kept
from app.crew_search.tables import crew_searches, crew_wishes
from app.crew_search.wire import SearchIn, WishesOut
from app.ids import MeetId
from app.refusals import IdTaken, NotFound
from app.store.prepared import Prepared
from app.store.rows import AnyRow

_WISHES = Prepared(select(crew_wishes).where(crew_wishes.c.meet_id == bindparam("meet")))
_OF_MEET = crew_searches.c.meet_id == bindparam("meet")
_SEARCH = Prepared(select(crew_searches).where(_OF_MEET, crew_searches.c.id == bindparam("search")))
_LAST = Prepared(select(crew_searches).where(_OF_MEET, crew_searches.c.content.is_not(None)))


def wishes_of(conn: Connection, meet_id: MeetId) -> WishesOut:
    """As stored; nothing in particular, and version 0, where nothing was."""
    row = _WISHES.first(conn, {"meet": meet_id})
    return WishesOut(version=0) if row is None else WishesOut(version=row.version, **row.content)


def last_search(conn: Connection, meet_id: MeetId, now: datetime) -> Search | None:
    """The last search of a meet: of earlier ones nothing is kept but their ids."""
    row = _LAST.first(conn, {"meet": meet_id})
    return None if row is None else kept(row, now)


def search_of(conn: Connection, meet_id: MeetId, search: str, now: datetime) -> Search:
    """A search by its id; NotFound where the meet has had another since."""
    row = _row(conn, meet_id, search)
    if row is None or row.content is None:
        raise NotFound("This search is not there, or the meet has had another since. Search again.")
    return kept(row, now)


def begun_before(
    conn: Connection, meet_id: MeetId, search: str, sent: SearchIn, now: datetime
) -> Search | None:
    """The search that was begun under this id; IdTaken where that was under other terms, or where
    the meet has had another since.
    """
    row = _row(conn, meet_id, search)
    if row is None:
        return None
    if row.content is None or row.sent != sent.model_dump(mode="json"):
        raise IdTaken("another search", search)
    return kept(row, now)


def _row(conn: Connection, meet_id: MeetId, search: str) -> AnyRow | None:
    row: AnyRow | None = _SEARCH.first(conn, {"meet": meet_id, "search": search})
    return row

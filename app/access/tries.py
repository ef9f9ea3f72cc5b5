"""Counted tries: a wrong PIN or link slows one person on one device, never the stadium.

A try is counted before it is looked at, so that many at once do not slip through together; a right
one clears the count. After five wrong ones each further try waits, longer every time, never for
ever.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, delete, select, update

from app.access.tables import tries
from app.refusals import TooManyTries
from app.store.upsert import insert_or_keep

FREE_TRIES = 5
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)

_ONE = select(tries.c["count"].label("counted"), tries.c.blocked_until).where(
    tries.c.key == bindparam("k")
)


def wait_after(count: int) -> timedelta:
    """How long to wait after the count-th wrong try in a row."""
    if count < FREE_TRIES:
        return timedelta(0)
    doubled: int = 2 ** min(count - FREE_TRIES, 10)
    return min(FIRST_WAIT * doubled, LONGEST_WAIT)


def count_try(conn: Connection, key: str, now: datetime) -> None:
    """Count one try; TooManyTries while the wait of the last one runs."""
    insert_or_keep(conn, tries, {"key": key, "count": 0, "blocked_until": None})
    row = conn.execute(_ONE, {"k": key}).one()
    if row.blocked_until is not None and now < row.blocked_until:
        seconds = int((row.blocked_until - now).total_seconds()) + 1
        raise TooManyTries(
            f"Too many wrong tries on this device. Wait {seconds} seconds, then try again.", seconds
        )
    count = row.counted + 1
    wait = wait_after(count)
    conn.execute(
        update(tries)
        .where(tries.c.key == key)
        .values(count=count, blocked_until=now + wait if wait else None)
    )


def clear_tries(conn: Connection, key: str) -> None:
    """A right try: the count begins anew."""
    conn.execute(delete(tries).where(tries.c.key == key))

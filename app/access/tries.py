"""Counted tries: a wrong PIN slows one person on one device, never the stadium.

Only wrong tries count. Each is settled in the meet's one order of actions, and what came out is
told only where no wait runs at that moment: of however many guesses at once, five learn that they
were wrong, and the rest, right or wrong, learn nothing. A right one clears the count. After five
wrong ones each further try waits, longer every time, never for ever, also where the clock is set
back meanwhile.
"""

from __future__ import annotations

import asyncio
from datetime import datetime, timedelta
from weakref import WeakValueDictionary

from sqlalchemy import Connection, bindparam, delete, select, update

from app.access.tables import tries
from app.refusals import TooManyTries
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.store.upsert import insert_or_keep

FREE_TRIES = 5
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)

_ONE = Prepared(
    select(tries.c["count"].label("counted"), tries.c.blocked_until).where(
        tries.c.key == bindparam("k")
    )
)
_CLEAR = Prepared(delete(tries).where(tries.c.key == bindparam("k")))
_turns: WeakValueDictionary[tuple[int, str], asyncio.Lock] = WeakValueDictionary()


def turn_of(key: str) -> asyncio.Lock:
    """Held while a try is looked at: those of one person on one device take turns.

    A look at a PIN takes 19 MiB of memory, and whoever waits for a turn may find the wait running
    and need none. How many guesses are told is not decided by this but by the store.
    """
    return _turns.setdefault((id(asyncio.get_running_loop()), key), asyncio.Lock())


def wait_after(count: int) -> timedelta:
    """How long to wait after the count-th wrong try in a row."""
    if count < FREE_TRIES:
        return timedelta(0)
    doubled: int = 2 ** min(count - FREE_TRIES, 10)
    return min(FIRST_WAIT * doubled, LONGEST_WAIT)


def insist_no_wait(conn: Connection, key: str, now: datetime) -> None:
    """TooManyTries while the wait of the last wrong try runs."""
    row = _ONE.first(conn, {"k": key})
    if row is not None:
        _insist_over(row, now)


def count_wrong_try(conn: Connection, key: str, now: datetime) -> None:
    """Count a wrong try; TooManyTries, and nothing counted, while the wait of the last one runs."""
    insert_or_keep(conn, tries, {"key": key, "count": 0, "blocked_until": None})
    row = _ONE.first(conn, {"k": key})
    _insist_over(row, now)
    count = row.counted + 1
    wait = wait_after(count)
    conn.execute(
        update(tries)
        .where(tries.c.key == key)
        .values(count=count, blocked_until=now + wait if wait else None)
    )


def clear_tries(conn: Connection, key: str, now: datetime) -> None:
    """A right try begins the count anew; TooManyTries while the wait of the last wrong one runs."""
    insist_no_wait(conn, key, now)
    _CLEAR.run(conn, {"k": key})


def _insist_over(row: AnyRow, now: datetime) -> None:
    # A wait that is longer than so many wrong tries bring was begun before the clock was set back:
    # it would last for hours, so it is over.
    if row.blocked_until is not None and now < row.blocked_until <= now + wait_after(row.counted):
        seconds = int((row.blocked_until - now).total_seconds()) + 1
        raise TooManyTries(
            f"Too many wrong tries on this device. Wait {seconds} seconds, then try again.", seconds
        )

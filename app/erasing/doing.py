"""Erasing in the database that the settings name: look, erase, and write it anew.

1. On SQLite no server may be running; the caller holds the lock file. On PostgreSQL the servers go
   on: whoever acts in the meet waits until the erasure is committed.
2. Erase, one transaction a meet, with its entry in the record.
3. Write the database anew, so that nothing of it is left in the files. That is done also where
   nothing was found any more: an earlier run may have been cut off before it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy import Connection

from app.clock import SystemClock
from app.erasing.actions import OPERATOR, Wanted, erase, look, mentioned_in_part
from app.erasing.afterwards import overwrite_what_is_freed, write_anew
from app.erasing.plan import Plan, tables_walked
from app.erasing.queries import Due, meets_due
from app.ids import MeetId
from app.record.log import Keeper
from app.schema import REVISION
from app.store.action import Unit
from app.store.revision import stored_revision
from app.store.store import Store

Result = TypeVar("Result")
Wants = Sequence[tuple[MeetId, Wanted]]


@dataclass(frozen=True, slots=True)
class Looked:
    """What would go, and the places where only a part of the name is told: that stays."""

    plan: Plan
    in_part: Mapping[str, int]


def look_at(database_url: str, meet_id: MeetId, wanted: Wanted) -> Looked:
    """What would go of a meet; nothing is changed."""
    clock = SystemClock()

    def read(conn: Connection) -> Looked:
        unit = Unit(conn, clock.now(), meet_id, OPERATOR)
        plan, _scope = look(unit, wanted)
        in_part = {} if wanted.is_whole else mentioned_in_part(unit, wanted)
        return Looked(plan, {place: n for place, n in in_part.items() if n > plan.places[place]})

    return _read(database_url, read)


def due(database_url: str) -> list[Due]:
    """The meets whose days of keeping are over."""
    now = SystemClock().now()
    return _read(database_url, lambda conn: list(meets_due(conn, now)))


def erase_all(database_url: str, wants: Wants) -> tuple[bool, list[Plan]]:
    """Erase all of this; whether all of the files could be written anew, and what went.

    Where one meet is refused, those before it are erased, and the files are written anew for them.
    """
    plans: list[Plan] = []
    with _store(database_url) as store:
        overwrite_what_is_freed(store.engines)
        store.start()
        try:
            for meet, wanted in wants:
                plans.append(store.act_now(meet, OPERATOR, erase(wanted)))
        finally:
            store.stop()
            tables = sorted({table for plan in plans for table in plan.tables or tables_walked()})
            are_all_written_anew = write_anew(store.engines, tables) if plans else True
    return are_all_written_anew, plans


def _read(database_url: str, query: Callable[[Connection], Result]) -> Result:
    with _store(database_url) as store:
        return store.read_now(query)


@contextmanager
def _store(database_url: str) -> Iterator[Store]:
    store = Store(database_url, SystemClock(), Keeper())
    try:
        found = store.read_now(stored_revision)
        if found != REVISION:
            raise ValueError(
                f"the database has schema {found or 'none'}, this program {REVISION}: "
                "bring it there first with `migrate`"
            )
        yield store
    finally:
        store.engines.dispose()

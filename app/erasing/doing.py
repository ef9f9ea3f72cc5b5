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
from dataclasses import dataclass, field, replace
from typing import TypeVar

from sqlalchemy import Connection

from app.clock import SystemClock
from app.erasing.actions import (
    OPERATOR,
    Gone,
    Wanted,
    erase,
    look,
    mentioned_in_part,
    names_nowhere,
)
from app.erasing.afterwards import overwrite_what_is_freed, write_anew
from app.erasing.plan import Plan, tables_walked
from app.erasing.queries import Due, meets_due
from app.erasing.staying import where_it_stays
from app.erasing.things import Thing, things_in
from app.ids import MeetId
from app.record.log import Keeper
from app.schema import REVISION
from app.store.action import Unit
from app.store.revision import stored_revision
from app.store.store import Store

Result = TypeVar("Result")
Wants = Sequence[tuple[MeetId, Wanted]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What went of a meet, or would go where it is not done; and what stays: where only a part of
    the name is told, and where it stands in names of teams and the like.
    """

    plan: Plan
    officials: Sequence[str]
    closes: bool
    stays: Mapping[str, int]
    in_part: Mapping[str, int] = field(default_factory=dict)
    is_done: bool = True
    things: Sequence[Thing] = ()
    """Which things these are, where it is only looked at one person."""
    nowhere: Sequence[str] = ()
    """Which of several names that were given stand nowhere."""
    is_unknown: bool = False
    """Whether nobody and nothing has the name that was given, and nobody else was meant."""


def look_at(database_url: str, meet_id: MeetId, wanted: Wanted) -> Outcome:
    """What would go of a meet; nothing is changed."""
    clock = SystemClock()

    def read(conn: Connection) -> Outcome:
        unit = Unit(conn, clock.now(), meet_id, OPERATOR)
        gone = look(unit, wanted)
        in_part = {} if wanted.is_whole else mentioned_in_part(unit, wanted)
        further = {place: n for place, n in in_part.items() if n > gone.plan.places[place]}
        stays = where_it_stays(conn, meet_id, gone.scope)
        found = Outcome(gone.plan, gone.officials, gone.closes, stays, further, is_done=False)
        things = () if wanted.is_whole else things_in(conn, gone.plan)
        nowhere = names_nowhere(unit, wanted)
        unknown = _is_unknown(gone, wanted)
        return replace(found, things=things, nowhere=nowhere, is_unknown=unknown)

    return _read(database_url, read)


def due(database_url: str) -> list[Due]:
    """The meets whose days of keeping are over."""
    now = SystemClock().now()
    return _read(database_url, lambda conn: list(meets_due(conn, now)))


def erase_all(database_url: str, wants: Wants) -> tuple[bool, list[Outcome]]:
    """Erase all of this; whether all of the files could be written anew, and what went.

    Where one meet is refused, those before it are erased, and the files are written anew for them.
    """
    erased: list[Outcome] = []
    with _store(database_url) as store:
        overwrite_what_is_freed(store.engines)
        store.start()
        try:
            for meet, wanted in wants:
                erased.append(_erase(store, meet, wanted))
        finally:
            store.stop()
            went = {table for one in erased for table in one.plan.tables or tables_walked()}
            are_all_written_anew = write_anew(store.engines, sorted(went)) if erased else True
    return are_all_written_anew, erased


def _erase(store: Store, meet: MeetId, wanted: Wanted) -> Outcome:
    """What stays is looked for afterwards, and names that nobody has before, so that nobody waits
    for it.
    """
    now = store.clock.now()
    nowhere = store.read_now(lambda conn: names_nowhere(Unit(conn, now, meet, OPERATOR), wanted))
    gone = store.act_now(meet, OPERATOR, erase(wanted))
    stays = store.read_now(lambda conn: where_it_stays(conn, meet, gone.scope))
    unknown = _is_unknown(gone, wanted)
    found = Outcome(gone.plan, gone.officials, gone.closes, stays)
    return replace(found, nowhere=nowhere, is_unknown=unknown)


def _is_unknown(gone: Gone, wanted: Wanted) -> bool:
    return bool(wanted.names) and gone.plan.is_empty


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

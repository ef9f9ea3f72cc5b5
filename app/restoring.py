"""Putting on record that a database was restored: so that nobody takes that for a rewrite.

What was printed after the copy was taken shows heads that the restored record does not lead to.
Each meet's record says therefore with how many entries it came back, when the copy was made where
that is known, and when it was restored; and the head with that entry is signed where the key is at
hand.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial

from sqlalchemy import Connection, make_url

from app.checking.database import check_database
from app.checking.queries import known_meets
from app.clock import SystemClock, rfc3339
from app.config import Settings
from app.ids import MeetId
from app.plurals import counted
from app.record.kinds import Kind
from app.record.log import Keeper
from app.record.queries import entries_about, head_of
from app.refusals import Refusal
from app.schema import REVISION
from app.sealing.queries import seal_in_use
from app.sealing.seals import Seals, key_store
from app.serving import bring_up_to_date
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.engine import only_process, open_engines
from app.store.revision import stored_revision
from app.store.store import Store

OPERATOR = Actor("operator")
"""Whoever may put a copy in place of the database."""
LATER = (
    "Its schema is an older one, which keeps no signed heads: nothing was put on record. Where it "
    "is wanted all the same, do it after `migrate` with `restore --note`."
)
SAID_ALREADY = (
    "that it was restored is on record already, and nothing was done since; nothing was written. "
    "If it was restored once more from another copy, say with --copied-at when that one was made"
)
UNSIGNED = (
    "Not signed, since ZONEDOCKET_SEAL_PASSPHRASE is not set: the heads with these entries. Each "
    "meet's is signed with its next paper."
)


def put_on_record(settings: Settings, copied_at: datetime | None) -> list[str]:
    """Say in the records of a database that it was restored with other tools than this program's,
    and give what is to be told; it is brought to the present schema first. ValueError where they
    say the same already, or do not agree. On SQLite no server may be running.
    """
    with only_process(make_url(settings.database_url)):
        _insist_ours(settings)
        bring_up_to_date(settings.database_url)
        with _store(settings) as store:
            for mismatch in store.read_now(check_database).mismatches[:1]:
                raise ValueError(f"the records do not agree, and nothing was noted: {mismatch}")
            meets = store.read_now(known_meets)
            silent = store.read_now(partial(_without_note, meets=meets, copied_at=copied_at))
            if meets and not silent:
                raise ValueError(SAID_ALREADY)
            return _note_in(store, settings, silent, copied_at)


def note_in(settings: Settings, copied_at: datetime | None) -> list[str]:
    """Say so in a database that was just restored, and that nobody else writes into; gives what is
    to be told about it.
    """
    with _store(settings) as store:
        if store.read_now(stored_revision) != REVISION:
            return [LATER]
        return _note_in(store, settings, store.read_now(known_meets), copied_at)


def _note_in(
    store: Store, settings: Settings, meets: Collection[MeetId], copied_at: datetime | None
) -> list[str]:
    for meet in meets:
        store.act_now(meet, OPERATOR, note_restoring(copied_at))
    noted = f"Put on record in {counted(len(meets), 'meet')} that it was restored."
    return [noted, *_sign(store, settings, meets)]


def _without_note(
    conn: Connection, meets: Collection[MeetId], copied_at: datetime | None
) -> list[MeetId]:
    """The meets whose record does not end with this very restoring: a run that was cut off has
    put it into some. Where it is not told when the copy was made, whatever restoring counts.
    """
    told = _told(copied_at)
    return [meet for meet in meets if not _ends_with(conn, meet, told)]


def _ends_with(conn: Connection, meet: MeetId, copied_at: str | None) -> bool:
    made = entries_about(conn, meet, Kind.RECORD_RESTORED, meet)
    if not made or made[-1].seq != head_of(conn, meet).size:
        return False
    return copied_at in {None, (made[-1].body or {}).get("copied_at")}


def _told(copied_at: datetime | None) -> str | None:
    return rfc3339(copied_at) if copied_at is not None else None


def _insist_ours(settings: Settings) -> None:
    engines = open_engines(settings.database_url)
    try:
        with engines.reading.connect() as conn:
            if stored_revision(conn) is None:
                raise ValueError("the database that DATABASE_URL names is none of this program's")
    finally:
        engines.dispose()


@contextmanager
def _store(settings: Settings) -> Iterator[Store]:
    store = Store(settings.database_url, SystemClock(), Keeper())
    store.start()
    try:
        yield store
    finally:
        store.stop()


def note_restoring(copied_at: datetime | None) -> Action[None]:
    """Say in a meet's record that it was restored, and with how many entries."""

    def act(unit: Unit) -> Done[None]:
        body = {
            "size": head_of(unit.conn, unit.meet_id).size,
            "copied_at": _told(copied_at),
            "restored_at": rfc3339(unit.now),
        }
        return Done(None, Deed(Kind.RECORD_RESTORED, unit.meet_id, body))

    return act


def _sign(store: Store, settings: Settings, meets: Collection[MeetId]) -> list[str]:
    """Sign the heads of the meets that have a seal; gives what cannot be signed now."""
    sealed = [meet for meet in meets if store.read_now(partial(seal_in_use, meet_id=meet))]
    if sealed and not settings.seal_passphrase.get_secret_value():
        return [UNSIGNED]
    seals, refused = Seals(store, key_store(settings)), []
    for meet in sealed:
        head = store.read_now(partial(head_of, meet_id=meet))
        try:
            seals.signed(meet, head)
        except Refusal as error:
            refused.append(f"Not signed, the head of meet {meet}: {error.detail}")
    return refused

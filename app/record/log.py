"""Appending to the record: one entry an act, in the same transaction as the act.

An entry is the RFC 8785 form of: meet, seq, time, actor, kind, subject, and a commitment to its
body. The commitment is SHA-256(salt ‖ RFC 8785 form of the body), with 32 random bytes of salt: a
reader of the log learns nothing about a body that was erased together with its salt.
"""

from __future__ import annotations

import logging
import secrets
from dataclasses import dataclass
from hashlib import sha256

from pydantic_core import from_json
from sqlalchemy import (
    Connection,
    Text,
    bindparam,
    delete,
    insert,
    select,
    type_coerce,
    update,
)

from app.clock import rfc3339
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.kinds import STILL_WRITTEN, Kind
from app.record.merkle import Frontier, leaf_hash
from app.record.tables import record_bodies, record_entries, record_heads
from app.refusals import MeetErased, Unavailable
from app.store.action import Committed, Deed, Settle, Unit
from app.store.causes import is_taken, is_unreadable
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.store.upsert import insert_or_keep

log = logging.getLogger(__name__)

SALT_BYTES = 32

MOST_ENTRIES = 2**31 - 1
"""So many can be numbered: PostgreSQL's `integer`."""

DAMAGED = (
    "The record of this meet is damaged in the store: its head does not fit its entries. Nothing "
    "was changed, and nothing more of this meet can be kept until that is mended. Keep what you "
    "wrote, and tell whoever runs the service: `check --database` says what is wrong."
)

UNTIL_MENDED = 60
"""Seconds until it is worth a try: each one makes those who stand beside it wait twice."""

FRONTIER = type_coerce(record_heads.c.frontier, Text).label("frontier")
"""A frontier as it is written: one meet's that cannot be read is no fault of its neighbours."""

_HEAD = Prepared(
    select(record_heads.c.size, record_heads.c.root, FRONTIER, record_heads.c.closed)
    .where(record_heads.c.meet_id == bindparam("meet"))
    .with_for_update()
)
_SAVE_HEAD = Prepared(
    update(record_heads)
    .where(record_heads.c.meet_id == bindparam("meet"))
    .values(
        size=bindparam("new_size"), frontier=bindparam("new_frontier"), root=bindparam("new_root")
    )
)
_DROP_HEAD = Prepared(delete(record_heads).where(record_heads.c.meet_id == bindparam("meet")))
_ADD_ENTRY = Prepared(insert(record_entries))
_ADD_BODY = Prepared(insert(record_bodies))


@dataclass(frozen=True, slots=True)
class Head:
    """What a meet's record is, as a whole: how many entries, and the root over them."""

    size: int
    root: str


def commitment(salt: bytes, body: bytes) -> str:
    """The salted commitment to a body, in hex."""
    return sha256(salt + body).hexdigest()


def entry_form(unit: Unit, seq: int, deed: Deed, committed: str) -> bytes:
    """The entry's RFC 8785 form."""
    return canonical(
        {
            "actor": unit.actor.id,
            "at": rfc3339(unit.now),
            "commitment": committed,
            "kind": deed.kind,
            "meet": unit.meet_id,
            "seq": seq,
            "subject": deed.subject,
        }
    )


class Keeper:
    """The record's side of the store's writer."""

    def open_group(
        self, conn: Connection, meets: frozenset[MeetId], settle: Settle | None = None
    ) -> Group:
        """The heads of the meets concerned, locked in order so that two workers never cross."""
        group = Group(conn, settle)
        for meet in sorted(meets):
            group.take_up(meet)
        return group


def frontier_of(row: AnyRow) -> Frontier | None:
    """What the record of a head (size, root, `FRONTIER`) grows from; None where that is of another
    size, or leads to another root, than the head says.
    """
    try:
        roots = tuple(bytes.fromhex(root) for root in from_json(row.frontier))
        if not 0 <= row.size < MOST_ENTRIES or len(roots) != row.size.bit_count():
            return None
    except (TypeError, ValueError, AttributeError):  # SQLite keeps any type in any column
        return None
    frontier = Frontier(row.size, roots)
    return frontier if frontier.root.hex() == row.root else None


def head_damaged(meet: MeetId) -> Unavailable:
    """What whoever comes to this meet is told; the log is told as well."""
    log.error("the head of the record of meet %s does not fit its entries", meet)
    return Unavailable(DAMAGED, UNTIL_MENDED)


class Group:
    """The record during one group of actions."""

    def __init__(self, conn: Connection, settle: Settle | None) -> None:
        self._conn = conn
        self._settle = settle
        self._heads: dict[MeetId, Frontier | None] = {}
        self._closed: set[MeetId] = set()
        self._kinds: set[str] = set()
        self._made: set[MeetId] = set()
        self._grown: set[MeetId] = set()

    def take_up(self, meet: MeetId) -> None:
        """Lock a meet's head; make it where there is none yet."""
        try:
            row = self._lock(meet)
        except Exception as error:
            if not is_unreadable(error):
                raise
            self._heads[meet] = None
            return
        if row is None:
            empty = {"meet_id": meet, "size": 0, "frontier": [], "root": Frontier().root.hex()}
            insert_or_keep(self._conn, record_heads, empty)
            row = self._lock(meet)
            if row is not None and not row.size:  # nobody else made it meanwhile
                self._made.add(meet)
        assert row is not None  # just stored, and the group holds its lock
        self._heads[meet] = frontier_of(row)
        if row.closed:
            self._closed.add(meet)

    def _lock(self, meet: MeetId) -> AnyRow | None:
        row: AnyRow | None = _HEAD.first(self._conn, {"meet": meet})
        return row

    def append(self, unit: Unit, deed: Deed) -> None:
        """Add one entry and its body; the heads are written at the end of the group.

        Where the record is sound, no entry and no body can fail for one action alone: the group
        holds the lock on its heads. Of a meet that was erased as a whole nothing is told any more:
        MeetErased. Unavailable where the head is damaged, or was set back behind its entries or
        their bodies; one that was set forward is not found here.
        """
        kind = Kind(deed.kind)
        if unit.meet_id in self._closed and kind not in STILL_WRITTEN:
            raise MeetErased
        frontier = self._heads[unit.meet_id]
        if frontier is None:
            raise head_damaged(unit.meet_id)
        seq = frontier.size + 1
        salt, body = secrets.token_bytes(SALT_BYTES), canonical(dict(deed.body))
        entry = entry_form(unit, seq, deed, commitment(salt, body))
        key = {"meet_id": unit.meet_id, "seq": seq}
        told = {"kind": kind.value, "subject": deed.subject, "entry": entry.decode()}
        try:
            _ADD_ENTRY.later(self._conn, key | told)
            _ADD_BODY.later(self._conn, {**key, "salt": salt, "body": body.decode()})
            if self._settle is not None:
                self._settle(self._conn)
        except Exception as error:
            # Without a savepoint it may be another act's key: what it owed is taken along.
            if self._settle is not None and is_taken(error):
                raise head_damaged(unit.meet_id) from error
            raise
        head = self._lock(unit.meet_id) if kind is Kind.ERASED else None
        # Last, when nothing can fail any more: what a savepoint undoes is rows, and never this.
        self._heads[unit.meet_id] = frontier.grow(leaf_hash(entry))
        self._kinds.add(kind.value)
        self._grown.add(unit.meet_id)
        if head is not None and head.closed:
            # Also for what stands behind it in this very group.
            self._closed.add(unit.meet_id)

    def finish(self) -> Committed:
        """Write the heads that moved.

        A head that was made for a meet which then was not made goes again.
        """
        for meet in self._made - self._grown:
            _DROP_HEAD.run(self._conn, {"meet": meet})
        sizes: dict[MeetId, int] = {}
        for meet in self._grown:
            frontier = self._heads[meet]
            assert frontier is not None  # it has grown
            sizes[meet] = frontier.size
            _SAVE_HEAD.later(
                self._conn,
                {
                    "meet": meet,
                    "new_size": frontier.size,
                    "new_frontier": [root.hex() for root in frontier.roots],
                    "new_root": frontier.root.hex(),
                },
            )
        return Committed(sizes, frozenset(self._kinds))

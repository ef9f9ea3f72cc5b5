"""Appending to the record: one entry an act, in the same transaction as the act.

An entry is the RFC 8785 form of: meet, seq, time, actor, kind, subject, and a commitment to its
body. The commitment is SHA-256(salt ‖ RFC 8785 form of the body), with 32 random bytes of salt: a
reader of the log learns nothing about a body that was erased together with its salt.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from hashlib import sha256

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from app.clock import rfc3339
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.kinds import STILL_WRITTEN, Kind
from app.record.merkle import Frontier, leaf_hash
from app.record.tables import record_bodies, record_entries, record_heads
from app.refusals import MeetErased
from app.store.action import Committed, Deed, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.store.upsert import insert_or_keep

SALT_BYTES = 32

_HEAD = Prepared(
    select(record_heads.c.size, record_heads.c.frontier, record_heads.c.closed)
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

    def open_group(self, conn: Connection, meets: frozenset[MeetId]) -> Group:
        """The heads of the meets concerned, locked in order so that two workers never cross."""
        rows = {meet: _lock_head(conn, meet) for meet in sorted(meets)}
        heads = {meet: _frontier(row) for meet, row in rows.items()}
        return Group(conn, heads, frozenset(meet for meet, row in rows.items() if row.closed))


def _lock_head(conn: Connection, meet: MeetId) -> AnyRow:
    row: AnyRow | None = _HEAD.first(conn, {"meet": meet})
    if row is None:
        empty = {"meet_id": meet, "size": 0, "frontier": [], "root": Frontier().root.hex()}
        insert_or_keep(conn, record_heads, empty)
        row = _HEAD.first(conn, {"meet": meet})
    assert row is not None  # just stored, and the group holds its lock
    return row


def _frontier(row: AnyRow) -> Frontier:
    roots = tuple(bytes.fromhex(root) for root in row.frontier)
    if len(roots) != row.size.bit_count():
        raise ValueError("the head of a record is damaged: it grows from another size than it says")
    return Frontier(row.size, roots)


class Group:
    """The record during one group of actions."""

    def __init__(
        self, conn: Connection, heads: dict[MeetId, Frontier], closed: frozenset[MeetId]
    ) -> None:
        self._conn = conn
        self._heads = heads
        self._closed = closed
        self._kinds: set[str] = set()
        self._grown: set[MeetId] = set()

    def append(self, unit: Unit, deed: Deed) -> None:
        """Add one entry and its body; the heads are written at the end of the group.

        No entry and no body can fail for one action alone: the group holds the lock on its heads.
        Of a meet that was erased as a whole nothing is told any more: MeetErased.
        """
        kind = Kind(deed.kind)
        if unit.meet_id in self._closed and kind not in STILL_WRITTEN:
            raise MeetErased
        frontier = self._heads[unit.meet_id]
        seq = frontier.size + 1
        salt, body = secrets.token_bytes(SALT_BYTES), canonical(dict(deed.body))
        entry = entry_form(unit, seq, deed, commitment(salt, body))
        key = {"meet_id": unit.meet_id, "seq": seq}
        told = {"kind": kind.value, "subject": deed.subject, "entry": entry.decode()}
        _ADD_ENTRY.later(self._conn, key | told)
        _ADD_BODY.later(self._conn, {**key, "salt": salt, "body": body.decode()})
        closes = kind is Kind.ERASED and _lock_head(self._conn, unit.meet_id).closed
        # Last, when nothing can fail any more: what a savepoint undoes is rows, and never this.
        self._heads[unit.meet_id] = frontier.grow(leaf_hash(entry))
        self._kinds.add(kind.value)
        self._grown.add(unit.meet_id)
        if closes:
            # Also for what stands behind it in this very group.
            self._closed |= {unit.meet_id}

    def finish(self) -> Committed:
        """Write the heads that moved.

        A head that was made for a meet which then was not made goes again.
        """
        for meet, frontier in self._heads.items():
            if not frontier.size:
                _DROP_HEAD.run(self._conn, {"meet": meet})
        for meet in self._grown:
            frontier = self._heads[meet]
            _SAVE_HEAD.later(
                self._conn,
                {
                    "meet": meet,
                    "new_size": frontier.size,
                    "new_frontier": [root.hex() for root in frontier.roots],
                    "new_root": frontier.root.hex(),
                },
            )
        sizes = {meet: self._heads[meet].size for meet in self._grown}
        return Committed(sizes, frozenset(self._kinds))

"""Proofs about a meet's record: that an entry stands in it, and that one head extends another.

The proofs are those of RFC 9162, 2.1.3 and 2.1.4. They are computed when somebody asks: the entries
are read one page after another, and no more of them is kept than a few hashes. That takes seconds
where a record is long, and anybody may ask: so it is done for one after another, and what was found
is remembered for a while.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, select

from app.ids import MeetId
from app.plurals import counted
from app.record.merkle import (
    EMPTY_ROOT,
    Span,
    consistency_spans,
    inclusion_spans,
    leaf_hash,
    root_from_inclusion,
    root_over,
    roots_from_consistency,
)
from app.record.queries import told_head_of
from app.record.tables import record_entries
from app.refusals import NotFound
from app.store.store import Store

READ_AT_ONCE = 2_000
REMEMBERED = 64
"""Proofs of a process; one is at most a few dozen hashes."""

_ENTRIES = (
    select(record_entries.c.seq, record_entries.c.entry)
    .where(
        record_entries.c.meet_id == bindparam("meet"),
        record_entries.c.seq > bindparam("after"),
        record_entries.c.seq <= bindparam("until"),
    )
    .order_by(record_entries.c.seq)
    .limit(READ_AT_ONCE)
)


@dataclass(frozen=True, slots=True)
class Inclusion:
    """That the entry `seq`, whose leaf hash this is, stands in the head of this size and root."""

    seq: int
    size: int
    leaf: bytes
    root: bytes
    path: tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class Consistency:
    """That the head of the later size has all entries of the earlier one, as they were."""

    earlier: int
    later: int
    earlier_root: bytes
    later_root: bytes
    path: tuple[bytes, ...]


class Proofs:
    """What a process proves: one record is read through at a time, whoever asks.

    Whoever may read the record does not wait for those who may only ask whether it was changed.
    """

    def __init__(self) -> None:
        self._of_readers = asyncio.Lock()
        self._of_anyone = asyncio.Lock()
        self._known: OrderedDict[tuple[MeetId, int, int], Consistency] = OrderedDict()

    async def inclusion(
        self, store: Store, meet_id: MeetId, seq: int, size: int | None
    ) -> Inclusion:
        """As `prove_inclusion`, in turn."""
        async with self._of_readers:
            return await store.read_apart(lambda conn: prove_inclusion(conn, meet_id, seq, size))

    async def consistency(
        self, store: Store, meet_id: MeetId, earlier: int, later: int | None
    ) -> Consistency:
        """As `prove_consistency`, in turn; what was proved a short while ago is not read again."""
        size = await store.read(lambda conn: _known_size(conn, meet_id, later))
        asked = (meet_id, earlier, size)
        async with self._of_anyone:
            if asked not in self._known:
                proof = await store.read_apart(lambda conn: prove_consistency(conn, *asked))
                self._known[asked] = proof
                if len(self._known) > REMEMBERED:
                    self._known.popitem(last=False)
            return self._known[asked]


def prove_inclusion(conn: Connection, meet_id: MeetId, seq: int, size: int | None) -> Inclusion:
    """The proof for an entry in the head of a size, the present one where none is said.

    NotFound where the record has no such head, or the head no such entry.
    """
    size = _known_size(conn, meet_id, size)
    if not 0 < seq <= size:
        raise NotFound(f"The record's head of {counted(size, 'entry')} has no entry {seq}.")
    (leaf,) = leaf_hashes(conn, meet_id, Span(seq - 1, seq))
    path = _roots(conn, meet_id, inclusion_spans(seq - 1, size))
    root = root_from_inclusion(seq - 1, size, leaf, path)
    return Inclusion(seq, size, leaf, root or EMPTY_ROOT, path)


def prove_consistency(
    conn: Connection, meet_id: MeetId, earlier: int, later: int | None
) -> Consistency:
    """The proof that the head of the later size, or the present one, extends the earlier one.

    NotFound where the record has not both heads, in this order.
    """
    later = _known_size(conn, meet_id, later)
    if not 0 < earlier <= later:
        raise NotFound(f"The record's head of {counted(later, 'entry')} extends none of {earlier}.")
    path = _roots(conn, meet_id, consistency_spans(earlier, later))
    # Where the path does not tell the earlier root, the earlier tree is a complete one.
    told = earlier & (earlier - 1) and earlier != later
    first = b"" if told else root_over(leaf_hashes(conn, meet_id, Span(0, earlier)))
    roots = roots_from_consistency(earlier, later, first, path) or (EMPTY_ROOT, EMPTY_ROOT)
    return Consistency(earlier, later, *roots, path)


def _known_size(conn: Connection, meet_id: MeetId, size: int | None) -> int:
    grown = told_head_of(conn, meet_id).size
    if not grown:  # making a meet is its record's first entry
        raise NotFound("There is no such meet.")
    if size is not None and not 0 < size <= grown:
        raise NotFound(f"The record has {counted(grown, 'entry')}, and so no head of {size}.")
    return grown if size is None else size


def _roots(conn: Connection, meet_id: MeetId, spans: tuple[Span, ...]) -> tuple[bytes, ...]:
    return tuple(root_over(leaf_hashes(conn, meet_id, span)) for span in spans)


def leaf_hashes(conn: Connection, meet_id: MeetId, span: Span) -> Iterator[bytes]:
    """The leaf hashes of a stretch of the record, in order."""
    asked = {"meet": meet_id, "after": span.start, "until": span.end}
    while rows := conn.execute(_ENTRIES, asked).all():
        yield from (leaf_hash(row.entry.encode()) for row in rows)
        asked["after"] = rows[-1].seq

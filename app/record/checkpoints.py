"""The heads of a meet's record that were signed and given out, as they are read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from app.ids import MeetId
from app.record.tables import checkpoints

PAGE = 100
LARGEST = 2**53
READ_AT_ONCE = 1_000

_BEFORE = (
    select(checkpoints.c.size, checkpoints.c.root, checkpoints.c.made_at, checkpoints.c.note)
    .where(checkpoints.c.meet_id == bindparam("meet"), checkpoints.c.size < bindparam("before"))
    .order_by(checkpoints.c.size.desc())
    .limit(bindparam("most"))
)


@dataclass(frozen=True, slots=True)
class SignedHead:
    """A head, and the C2SP note that was signed for it, word for word."""

    size: int
    root: str
    made_at: datetime
    note: str


def newest_checkpoint(conn: Connection, meet_id: MeetId) -> SignedHead | None:
    """The signed head of the most entries, None while there is none."""
    return next(iter(signed_heads(conn, meet_id, LARGEST, 1)), None)


def signed_heads(conn: Connection, meet_id: MeetId, before: int, most: int) -> list[SignedHead]:
    """Signed heads of fewer than `before` entries, largest first."""
    asked = {"meet": meet_id, "before": before, "most": most}
    rows = conn.execute(_BEFORE, asked)
    return [SignedHead(row.size, row.root, row.made_at, row.note) for row in rows]


def all_signed_heads(conn: Connection, meet_id: MeetId) -> Iterator[SignedHead]:
    """All heads of a meet that were signed, largest first, read a page at a time."""
    before = LARGEST
    while page := signed_heads(conn, meet_id, before, READ_AT_ONCE):
        yield from page
        before = page[-1].size

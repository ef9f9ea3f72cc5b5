"""Reading the record: its head, its entries from a seq onward, when and by whom one was made, the
export.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, and_, bindparam, func, select

from app.ids import MeetId, OfficialId
from app.record.kinds import KINDS, Kind
from app.record.log import FRONTIER, Head, commitment, frontier_of, head_damaged
from app.record.merkle import EMPTY_ROOT
from app.record.tables import record_bodies, record_entries, record_heads
from app.store.causes import is_unreadable
from app.store.prepared import Prepared
from app.store.rows import AnyRow

PAGE = 500

_HEAD = Prepared(
    select(record_heads.c.size, record_heads.c.root).where(
        record_heads.c.meet_id == bindparam("meet")
    )
)
_GROWS_FROM = select(record_heads.c.size, record_heads.c.root, FRONTIER).where(
    record_heads.c.meet_id == bindparam("meet")
)
_CLOSED = select(record_heads.c.closed).where(record_heads.c.meet_id == bindparam("meet"))
_AFTER = (
    select(record_entries.c.seq, record_entries.c.kind, record_entries.c.entry)
    .where(record_entries.c.meet_id == bindparam("meet"), record_entries.c.seq > bindparam("after"))
    .order_by(record_entries.c.seq)
    .limit(bindparam("most"))
)
_BODIES = (
    select(record_entries.c.seq, record_entries.c.entry, record_bodies.c.salt, record_bodies.c.body)
    .outerjoin(
        record_bodies,
        and_(
            record_bodies.c.meet_id == record_entries.c.meet_id,
            record_bodies.c.seq == record_entries.c.seq,
        ),
    )
    .where(record_entries.c.meet_id == bindparam("meet"))
    .order_by(record_entries.c.seq)
)
_ON = _BODIES.where(record_entries.c.subject == bindparam("subject"))
_ABOUT = _ON.where(record_entries.c.kind == bindparam("kind"))
_OF_KINDS = _BODIES.where(record_entries.c.kind.in_(bindparam("kinds", expanding=True)))
_EXPORT = _BODIES.where(record_entries.c.seq > bindparam("after")).limit(PAGE)

LOOKED_AT = 20
_NEWEST_HEADS = (
    select(
        record_heads.c.meet_id,
        record_heads.c.size,
        record_heads.c.root,
        FRONTIER,
        select(func.max(record_entries.c.seq))
        .where(record_entries.c.meet_id == record_heads.c.meet_id)
        .scalar_subquery()
        .label("newest"),
    )
    .order_by(record_heads.c.meet_id.desc())
    .limit(LOOKED_AT)
)


@dataclass(frozen=True, slots=True)
class FeedEntry:
    """An entry as the live feed shows it; `owner` is whose own its subject is, where it counts."""

    seq: int
    kind: Kind
    entry: str
    owner: OfficialId | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """When an entry was made, by whom, and its body, None where that was erased; by `seq` is told
    which of two came first, also where the clock was set back.
    """

    seq: int
    at: datetime
    by: OfficialId
    body: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Sound:
    """An entry, and its body as far as it is what the entry commits to. `at` is RFC 3339."""

    seq: int
    kind: str
    subject: str
    at: str
    by: str
    body: Mapping[str, Any] | None


def head_of(conn: Connection, meet_id: MeetId) -> Head:
    """The record's size and root as they stand; an empty one for a meet that has none."""
    row = _HEAD.first(conn, {"meet": meet_id})
    return Head(row.size, row.root) if row else Head(0, EMPTY_ROOT.hex())


def told_head_of(conn: Connection, meet_id: MeetId) -> Head:
    """The same, to be given out or reckoned with: Unavailable where something else stands there."""
    head = _head_as_text_allows(conn, meet_id)
    if head is None or not (
        isinstance(head.size, int) and head.size >= 0 and isinstance(head.root, str)
    ):
        raise head_damaged(meet_id)
    return head


def version_of(conn: Connection, meet_id: MeetId) -> Hashable:
    """By what a later state of a record is told from an earlier one: its size, whatever stands
    there; None where that cannot be read, and nothing more is written then.
    """
    head = _head_as_text_allows(conn, meet_id)
    return None if head is None else head.size


def _head_as_text_allows(conn: Connection, meet_id: MeetId) -> Head | None:
    """The head as it stands; None where a text in it is none."""
    try:
        return head_of(conn, meet_id)
    except Exception as error:
        if is_unreadable(error):  # and its words hold what is stored
            return None
        raise


def entries_about(conn: Connection, meet_id: MeetId, kind: Kind, subject: str) -> list[Made]:
    """The entries of this kind about a subject, first to last."""
    asked = {"meet": meet_id, "kind": kind.value, "subject": subject}
    return [_made(row) for row in conn.execute(_ABOUT, asked)]


def committed_about(conn: Connection, meet_id: MeetId, kind: Kind, subject: str) -> list[Sound]:
    """The same, with a body only where it is what its entry commits to; nothing in them raises."""
    asked = {"meet": meet_id, "kind": kind.value, "subject": subject}
    return [_sound(row) for row in conn.execute(_ABOUT, asked)]


def committed_on(conn: Connection, meet_id: MeetId, subject: str) -> list[Sound]:
    """The same of the entries of all kinds."""
    return [_sound(row) for row in conn.execute(_ON, {"meet": meet_id, "subject": subject})]


def committed_of_kinds(
    conn: Connection, meet_id: MeetId, kinds: Collection[Kind]
) -> Iterator[Sound]:
    """The same of all entries of these kinds, first to last, a few at a time."""
    asked = {"meet": meet_id, "kinds": [kind.value for kind in kinds]}
    rows = conn.execute(_OF_KINDS, asked, execution_options={"yield_per": PAGE})
    yield from (_sound(row) for row in rows)


def _sound(row: AnyRow) -> Sound:
    try:
        entry = json.loads(row.entry)
        kind, subject, at, by = (str(entry[name]) for name in ("kind", "subject", "at", "actor"))
    except (ValueError, KeyError, TypeError):
        kind = subject = at = by = ""
    return Sound(row.seq, kind, subject, at, by, committed_body(row.entry, row.salt, row.body))


def committed_body(entry: str, salt: bytes | None, text: str | None) -> Mapping[str, Any] | None:
    """What a body says; None where it was erased, or is not what the entry commits to."""
    if salt is None or text is None:
        return None
    try:
        told = json.loads(entry)["commitment"]
        body = json.loads(text) if commitment(salt, text.encode()) == told else None
    except (ValueError, KeyError, TypeError):
        return None
    return body if isinstance(body, dict) else None


def _made(row: AnyRow) -> Made:
    entry, body = json.loads(row.entry), row.body and json.loads(row.body)
    return Made(row.seq, datetime.fromisoformat(entry["at"]), OfficialId(entry["actor"]), body)


def entered_at(conn: Connection, meet_id: MeetId, kind: Kind, subject: str) -> datetime | None:
    """When the first entry of this kind about a subject was made, None where there is none."""
    return next((one.at for one in entries_about(conn, meet_id, kind, subject)), None)


def was_erased_since(conn: Connection, meet_id: MeetId, size: int) -> bool:
    """Whether something of a meet was erased since its record had this size: what was read then may
    not be kept any more.
    """
    entries = record_entries.c
    later = select(entries.seq).where(
        entries.meet_id == meet_id, entries.seq > size, entries.kind == Kind.ERASED.value
    )
    return conn.execute(later.limit(1)).first() is not None


def entries_after(conn: Connection, meet_id: MeetId, after: int, most: int) -> list[FeedEntry]:
    """Up to `most` entries with a seq above `after`, in order."""
    rows = conn.execute(_AFTER, {"meet": meet_id, "after": after, "most": most})
    return [FeedEntry(row.seq, Kind(row.kind), row.entry) for row in rows]


def with_owner(conn: Connection, meet_id: MeetId, one: FeedEntry) -> FeedEntry:
    """An entry with the official whose own its subject is, where its kind is followed by them."""
    own_by = KINDS[one.kind].own_by
    if own_by is None:
        return one
    made = entries_about(conn, meet_id, own_by, json.loads(one.entry)["subject"])
    return replace(one, owner=made[0].by if made else None)


def export_lines(conn: Connection, meet_id: MeetId) -> Iterator[str]:
    """The export, one JSON line an entry, and a last line with the head.

    An entry's line is {"entry": its RFC 8785 text, "salt": hex, "body": RFC 8785 text}; an erased
    body is null together with its salt.
    """
    after = 0
    while rows := conn.execute(_EXPORT, {"meet": meet_id, "after": after}).all():
        yield from (_export_line(row) for row in rows)
        after = rows[-1].seq
    yield head_line(meet_id, head_of(conn, meet_id))


def head_line(meet_id: MeetId, head: Head) -> str:
    """The export's last line."""
    return json.dumps({"head": {"meet": meet_id, "size": head.size, "root": head.root}})


def _export_line(row: AnyRow) -> str:
    salt = row.salt.hex() if row.salt is not None else None
    return json.dumps({"entry": row.entry, "salt": salt, "body": row.body}, ensure_ascii=False)


def is_closed(conn: Connection, meet_id: MeetId) -> bool:
    """Whether the whole meet was erased: nothing is kept in it any more that tells of anybody."""
    return bool(conn.execute(_CLOSED, {"meet": meet_id}).scalar())


def head_amiss(conn: Connection) -> MeetId | None:
    """The first of some meets, those with the latest ids, whose head is not that of its record, by
    what can be seen at a glance: its root, and how far its entries reach. All of it is for `check`.
    """
    for row in conn.execute(_NEWEST_HEADS):
        if frontier_of(row) is None or row.size != (row.newest or 0):
            return MeetId(row.meet_id)
    return None


def grows_as_it_says(conn: Connection, meet: MeetId) -> bool:
    """Whether the next entry of a record would lead on from its root, where it has a head."""
    row = conn.execute(_GROWS_FROM, {"meet": meet}).one_or_none()
    return row is None or frontier_of(row) is not None

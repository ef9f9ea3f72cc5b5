"""The facts of forms, as files whose SHA-256 was signed with the ruling or the decision.

A sealed paper says that nobody has changed it since it was sealed; what the official signed before
is the digest of the facts that it tells. With the facts at hand, anybody can see that both agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from hashlib import sha256

from sqlalchemy import Connection

from app.appeals import papers
from app.exporting.queries import decided_facts, ruled_facts
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.queries import was_erased_since
from app.rulings import form
from app.store.rows import AnyRow

KINDS = (("ruling", ruled_facts, form.as_signed), ("decision", decided_facts, papers.as_signed))


def signed_facts(
    conn: Connection, meet: MeetId, signed: Mapping[str, str]
) -> Iterator[tuple[str, bytes]]:
    """The facts of these rulings and decisions, by the names of their files: as they are stored,
    but for those that an erasure has changed, which are no longer what was signed.
    """
    erased = was_erased_since(conn, meet, 0)
    for kind, rows, as_signed in KINDS:
        for row in rows(conn, meet):
            content = canonical(as_signed(row.form_facts)) if row.id in signed else b""
            if content and not (erased and _was_changed(row, content, signed)):
                yield f"facts/{kind}-{row.id}.json", content


def _was_changed(row: AnyRow, content: bytes, signed: Mapping[str, str]) -> bool:
    return sha256(content).hexdigest() != signed[row.id]

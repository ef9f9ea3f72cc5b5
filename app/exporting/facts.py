"""The facts of forms, as files whose SHA-256 was signed with the ruling or the decision.

A sealed paper says that nobody has changed it since it was sealed; what the official signed before
is the digest of the facts that it tells. With the facts at hand, anybody can see that both agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from hashlib import sha256

from sqlalchemy import Connection

from app.appeals import decision_papers
from app.exporting.queries import decided_facts, entries_of_kinds, ruled_facts
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.rulings import form

KINDS = (
    ("ruling", ruled_facts, form.as_signed),
    ("decision", decided_facts, decision_papers.as_signed),
)


def signed_facts(
    conn: Connection, meet: MeetId, signed: Mapping[str, str]
) -> Iterator[tuple[str, bytes]]:
    """The facts of these rulings and decisions, by the names of their files: as they are stored,
    but for those that an erasure has changed, which are no longer what was signed.
    """
    erasures = [one.body for one in entries_of_kinds(conn, meet, {Kind.ERASED})]
    named = {ident for body in erasures for ident in body.get("forms", ())}
    all_say_which = all("forms" in body for body in erasures)
    for kind, rows, as_signed in KINDS:
        for row in rows(conn, meet):
            if row.id not in signed:
                continue
            content = canonical(as_signed(row.form_facts))
            is_changed = sha256(content).hexdigest() != signed[row.id]
            if not is_changed or (all_say_which and row.id not in named):
                yield f"facts/{kind}-{row.id}.json", content

"""Has anything been erased of what a paper tells: when, by whom, and for what?

An erasure touches what its entry names: the meet, the forms and signed acts that it changed, the
entries whose bodies went, and whoever acted and has no name any more.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from typing import Any

from sqlalchemy import Connection, bindparam, select

from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import Made, entries_about
from app.record.tables import record_entries

SIGNED_BEFORE = "The SHA-256 of the statement is of what was signed before."

_OF_SUBJECTS = select(record_entries.c.seq, record_entries.c.entry).where(
    record_entries.c.meet_id == bindparam("meet"),
    record_entries.c.subject.in_(bindparam("subjects", expanding=True)),
)


def erased_of(conn: Connection, meet_id: MeetId, subjects: Collection[str]) -> tuple[str, ...]:
    """A sentence for each erasure that took names or words from what was done about these."""
    erasures = entries_about(conn, meet_id, Kind.ERASED, meet_id)
    if not erasures:
        return ()
    rows = conn.execute(_OF_SUBJECTS, {"meet": meet_id, "subjects": list(subjects)}).all()
    about = {*subjects, *(row.seq for row in rows)}
    about |= {json.loads(row.entry)["actor"] for row in rows}
    return tuple(_in_words(one, one.body) for one in erasures if one.body and _of(one.body) & about)


def erased_since_signed(
    conn: Connection, meet_id: MeetId, subjects: Collection[str]
) -> tuple[str, ...]:
    """The same on a paper that tells a digest of what was signed, which no erasure changes."""
    told = erased_of(conn, meet_id, subjects)
    return (*told, SIGNED_BEFORE) if told else ()


def _of(body: Mapping[str, Any]) -> set[Any]:
    return {
        *body.get("entries", ()),
        *body.get("officials", ()),
        *body.get("forms", ()),
        *(one.get("of") for one in body.get("left_as", ())),
    }


def _in_words(made: Made, body: Mapping[str, Any]) -> str:
    by, why = body["by"], str(body["because"]).rstrip(".")
    return f"Names or words were erased on {made.at.date().isoformat()}, by {by}, for: {why}."

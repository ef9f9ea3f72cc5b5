"""What do the entries of a file need beside them, so that they can be read and checked alone?

Who is who: the entries that named, or named anew, whoever acts in them or is named by id in them;
the organiser who set up the meet is named in its first entry.
And what the export adds to any part of a record: the keys that signed and what revoked them, what
was erased of it, and that the record was restored. Nothing of any case stands in these.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from typing import Any

from sqlalchemy import Connection

from app.access.queries import official_names
from app.casefiles.queries import entries_with
from app.exporting.queries import Recorded
from app.exporting.wanted import needed_for
from app.ids import MeetId
from app.record.kinds import Kind

NAMING = frozenset({Kind.OFFICIAL_NAMED, Kind.OFFICIAL_CHANGED})


def naming_in(
    conn: Connection, meet: MeetId, about: Iterable[Recorded], around: Iterable[Recorded]
) -> tuple[Recorded, ...]:
    """The entries that say what the officials of a file are called, and those who named them. Of
    what is `around` it, only who did it: the rest tells of all teams.
    """
    told = {one for entry in about for one in (_actor(entry), *_texts(entry.body))}
    told |= {_actor(entry) for entry in around}
    waiting: set[str] = set(official_names(conn, meet))
    found: list[Recorded] = []
    while asked := told & waiting:
        waiting -= asked
        named = entries_with(conn, meet, sorted(asked))
        found += (one for one in named if one.kind in NAMING)
        told |= {_actor(one) for one in found}
    first = (one for one in entries_with(conn, meet, [meet]) if one.kind is Kind.MEET_MADE)
    return (*first, *found)


def needed_beside(
    conn: Connection, meet: MeetId, part: Collection[Recorded]
) -> tuple[Recorded, ...]:
    """What the export adds to these entries, in the record's order."""
    known = {one.seq for one in part}
    return tuple(one for one in needed_for(conn, meet, part) if one.seq not in known)


def _actor(entry: Recorded) -> str:
    return str(json.loads(entry.entry)["actor"])


def _texts(value: Any) -> Iterator[str]:
    """Every text in an entry's body, at whatever depth."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)

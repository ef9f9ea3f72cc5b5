"""Rows that the record will tell of no more, as an erasure leaves them.

Where the body of an entry goes, nothing tells any more what its row should say. The erasure's own
entry says it instead, as a digest of what the row says then: whoever changes it afterwards is found
out as before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection

from app.checking.rows import SORTS, tale_of
from app.erasing.plan import Plan
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about, committed_of_kinds
from app.sealing.left_rows import Erasures, Sort, digest_said


def rows_left(conn: Connection, meet_id: MeetId, plan: Plan) -> dict[str, str]:
    """By its key, what each such part of a row says then. What the record told otherwise before is
    left out, so that nobody takes it for told afterwards.
    """
    return {ident: digest for sort in SORTS for ident, digest in _left(conn, meet_id, plan, sort)}


def _left(conn: Connection, meet_id: MeetId, plan: Plan, sort: Sort) -> Iterator[tuple[str, str]]:
    going, changes = set(plan.entries), _changes(plan, sort.table)
    erasures = committed_about(conn, meet_id, Kind.ERASED, meet_id)
    said, still_said = Erasures.of(erasures), Erasures.of(_after(erasures, going))
    entries = list(committed_of_kinds(conn, meet_id, sort.kinds))
    before, then = tale_of(sort, entries), tale_of(sort, _after(entries, going))
    for row in sort.rows(conn, meet_id):
        held = {part.key for part in before.parts(row) if part.holds(said)}
        left = {**row, **changes.get(str(row["id"]), {})}
        for part in then.parts(left):
            if part.key in held and not part.holds(still_said):
                yield part.key, digest_said(part.says)


def _after(entries: list[Sound], going: set[int]) -> Iterator[Sound]:
    """The entries as they are once these bodies are gone; an erasure whose body goes is told again
    by the next one, and says nothing itself.
    """
    for one in entries:
        if one.seq not in going:
            yield one
        elif one.kind != Kind.ERASED:
            yield replace(one, body=None)


def _changes(plan: Plan, table: str) -> Mapping[str, Mapping[str, Any]]:
    """What the rows of a table are to hold instead, by their ids."""
    return {str(one.key["id"]): one.values for one in plan.changes if one.table.name == table}

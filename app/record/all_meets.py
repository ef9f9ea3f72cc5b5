"""Do all records of a database agree, and is each still guarded against being rewritten?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from sqlalchemy import Connection, inspect, select, text, union

from app.ids import MeetId
from app.record.check import Checked, check_lines
from app.record.queries import export_lines
from app.record.tables import (
    CHECKPOINT_GUARDS,
    GUARDS,
    checkpoints,
    record_entries,
    record_heads,
)

_TRIGGERS = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    # O fires in ordinary sessions, A always; D and R do not (pg_trigger.tgenabled).
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgenabled IN ('O', 'A')",
}


@dataclass(slots=True)
class Found:
    """What was checked, meet by meet, and every mismatch with its place."""

    meets: dict[MeetId, Checked] = field(default_factory=dict)
    mismatches: list[str] = field(default_factory=list)


def check_database(conn: Connection) -> Found:
    """Check every record that a database holds, and that its guards are there."""
    found = Found()
    known = union(select(record_heads.c.meet_id), select(record_entries.c.meet_id))
    for meet in sorted(conn.execute(known).scalars()):
        checked = check_lines(export_lines(conn, MeetId(meet)))
        found.meets[MeetId(meet)] = checked
        found.mismatches += (f"meet {meet}, {mismatch}" for mismatch in checked.mismatches)
    found.mismatches += missing_guards(conn)
    return found


def missing_guards(conn: Connection) -> Iterator[str]:
    """What should refuse to rewrite the record and is not there, or does not act."""
    engine = conn.dialect.name
    there = set(conn.execute(text(_TRIGGERS[engine])).scalars())
    wanted = {*GUARDS[engine]}
    if inspect(conn).has_table(checkpoints.name):  # an older schema has none
        wanted |= CHECKPOINT_GUARDS[engine].keys()
    for name in sorted(wanted - there):
        yield f"the guard {name} is missing: a restore may have left it out"

"""Does the database itself still refuse to rewrite the record?

The guards are triggers. One that is there under its name may have been made anew to do nothing, so
what it does is compared with what the migrations make, and with it the function that PostgreSQL's
call. A trigger of somebody else's on the record's tables could change what is written into them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sqlalchemy import Connection, inspect, text

from app.record.tables import (
    CHECKPOINT_GUARDS,
    GUARD_FUNCTION,
    GUARDS,
    checkpoints,
    record_bodies,
    record_entries,
    record_heads,
)
from app.store.rows import AnyRow

GUARDED = frozenset(
    table.name for table in (record_entries, record_bodies, record_heads, checkpoints)
)
_TRIGGERS = {
    "sqlite": "SELECT name, tbl_name AS place, sql AS made, '' AS calls FROM sqlite_master "
    "WHERE type = 'trigger'",
    # O fires in ordinary sessions, A always; D and R do not (pg_trigger.tgenabled).
    "postgresql": "SELECT tgname AS name, relname AS place, "
    "pg_get_triggerdef(t.oid, true) AS made, concat(lanname, prosrc) AS calls "
    "FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid "
    "JOIN pg_proc p ON p.oid = tgfoid JOIN pg_language l ON l.oid = prolang "
    "WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')",
}
CALLED = {"sqlite": "", "postgresql": f"plpgsql{GUARD_FUNCTION.split('$$')[1]}"}


def unguarded(conn: Connection) -> Iterator[str]:
    """What should refuse to rewrite the record and does not, or is not this program's."""
    engine = conn.dialect.name
    there = {row.name: row for row in conn.execute(text(_TRIGGERS[engine]))}
    wanted = dict(GUARDS[engine])
    if inspect(conn).has_table(checkpoints.name):  # an older schema has none
        wanted |= CHECKPOINT_GUARDS[engine]
    for name in sorted(wanted.keys() | there.keys()):
        yield from _amiss(name, wanted, there, CALLED[engine])


def _amiss(
    name: str, wanted: Mapping[str, str], there: Mapping[str, AnyRow], called: str
) -> Iterator[str]:
    found = there.get(name)
    if found is None:
        yield f"the guard {name} is missing: a restore may have left it out"
    elif name not in wanted:
        if found.place in GUARDED:
            yield f"the trigger {name} on {found.place} is none of this program's"
    elif (found.made, found.calls) != (wanted[name], called):
        yield f"the guard {name} is not the one that this program made: it may let through anything"

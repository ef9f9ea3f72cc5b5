"""Insert-or-keep, the one statement that the two engines spell through different dialects."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite

_Insert = Callable[[Table], sqlite.Insert | postgresql.Insert]
_INSERTS: Mapping[str, _Insert] = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}


def insert_or_keep(
    conn: Connection, table: Table, rows: Mapping[str, object] | Sequence[Mapping[str, object]]
) -> None:
    """Insert rows; those whose key is already there stay as they are."""
    conn.execute(_INSERTS[conn.dialect.name](table).on_conflict_do_nothing(), rows)

"""Can anything be stored? Found out by storing, as every act does, and leaving nothing.

The head that the record makes for a meet goes again where the meet was not made, so both are
written and synced to the disk, and no row stays.
"""

from __future__ import annotations

from sqlalchemy import Connection

from app.store.action import Done, Unit

SAFE = {
    "fsync": {"on"},
    "full_page_writes": {"on"},
    "synchronous_commit": {"on", "remote_apply", "remote_write", "local"},
}
"""With these settings PostgreSQL has on its disk what it says is committed (PostgreSQL, 20.5)."""


def trial(unit: Unit) -> Done[list[str]]:
    """Stores nothing; gives what is to be said about how safely the database stores."""
    return Done(_warnings(unit.conn), None)


def _warnings(conn: Connection) -> list[str]:
    if conn.dialect.name == "sqlite":  # the writer sees to it when it connects
        return []
    found = {name: str(conn.exec_driver_sql(f"SHOW {name}").scalar()) for name in SAFE}
    return [
        f"PostgreSQL runs with {name} = {found[name]}: what was answered as stored can be "
        "lost when the power fails."
        for name, safe in SAFE.items()
        if found[name] not in safe
    ]

"""Which schema a database has, without loading the migration machinery."""

from __future__ import annotations

from sqlalchemy import Connection, inspect, text


def stored_revision(conn: Connection) -> str | None:
    """The revision that the database was migrated to, None for an empty one."""
    if not inspect(conn).has_table("alembic_version"):
        return None
    return conn.execute(text("SELECT version_num FROM alembic_version")).scalar()

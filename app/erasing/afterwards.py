"""Nothing erased is left in the database's files: what was freed is written anew.

SQLite overwrites what it frees (`secure_delete`), then writes the whole file anew and empties the
log beside it. PostgreSQL writes the tables concerned anew, with their indexes, and what it keeps of
their values to plan by. Neither reaches what lies elsewhere: PostgreSQL's write-ahead log until it
is written over, the archive of it, blocks that a disk has set aside, and older backups.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing

from sqlalchemy import Engine, event, text

from app.store.engine import Engines, database_path

STATISTICS = "pg_catalog.pg_statistic"


def overwrite_what_is_freed(engines: Engines) -> None:
    """From the next writing connection on SQLite zeroes what it frees."""
    if engines.is_sqlite:
        event.listen(
            engines.writing,
            "connect",
            lambda connection, _record: connection.execute("PRAGMA secure_delete=ON"),
        )


def write_anew(engines: Engines, tables: Iterable[str]) -> bool:
    """Write the database anew; false where the database lets us do a part only.

    On SQLite nothing else may have the file open. PostgreSQL holds each table for the time that
    this takes, and those who use it wait.
    """
    if engines.is_sqlite:
        engines.dispose()
        _write_file_anew(str(database_path(engines.url)))
        return True
    return _write_tables_anew(engines.writing, tables)


def _write_file_anew(path: str) -> None:
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA secure_delete=ON")
        conn.execute("VACUUM")
        busy = conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    if busy:
        raise ValueError(
            f"what was erased is gone, but {path} was not written anew: somebody has it open. "
            "Close that, and give the same command once more."
        )


def _write_tables_anew(engine: Engine, tables: Iterable[str]) -> bool:
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as conn:
        for table in tables:
            conn.execute(text(f"VACUUM (FULL, ANALYZE) {table}"))
        if conn.execute(text("SHOW is_superuser")).scalar() != "on":
            return False
        # Values that were frequent stand there word for word, in rows that nothing reads any more.
        conn.execute(text(f"VACUUM FULL {STATISTICS}"))
    return True

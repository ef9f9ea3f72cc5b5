"""When a SQLite database was last copied: a file beside it says so.

`backup` is a process of its own and writes nothing into a database that is served. Who serves it
reads the file and tells the time in its metrics, so that a timer that stands still is noticed.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from app.clock import rfc3339
from app.store.engine import keep_private

TRACE = ".backed-up"


def trace_beside(database: Path) -> Path:
    """The file that says it."""
    return Path(f"{database.resolve()}{TRACE}")


def note_backup(database: Path, at: datetime) -> None:
    """Say that a copy was made which has all that was stored by then."""
    trace = trace_beside(database)
    keep_private(trace)
    trace.write_text(f"{rfc3339(at)}\n", encoding="ascii")


def last_backup(database: Path) -> datetime | None:
    """When the last copy was made of the database at this place; None where none is told of."""
    try:
        return instant_in(trace_beside(database).read_text(encoding="ascii").strip())
    except (OSError, UnicodeError):
        return None


def instant_in(text: object) -> datetime | None:
    """The instant that was noted; None where the text is none."""
    try:
        at = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return at if at.tzinfo is not None else None

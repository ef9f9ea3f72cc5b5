"""Which statements a service sends to its database while it answers a request.

Counted where all ways to the database meet: on SQLite by the library's own trace, since prepared
statements go past the toolkit; on PostgreSQL at the toolkit's cursors and at the line beside them.
What opens and ends a snapshot is left out.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import event

from app.store.by_name import Line, Sending
from app.store.engine import Engines
from tests.running import Service

AROUND = ("BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE", "PRAGMA", "--")
"""Words about a transaction, what a connection is set up with, and what a trigger did."""


class Statements:
    """What was asked: ever, and since the count began."""

    def __init__(self) -> None:
        self.ever: list[str] = []

    def note(self, text: str) -> None:
        if not text.lstrip().upper().startswith(AROUND):
            self.ever.append(text)

    @contextmanager
    def counted(self) -> Iterator[list[str]]:
        """The statements from here to the end of the block."""
        heard: list[str] = []
        before = len(self.ever)
        yield heard
        heard += self.ever[before:]


def statements_of(service: Service) -> Statements:
    """Listens to all connections of a service that has opened none to read with."""
    store, statements = service.store, Statements()
    assert store.engines.reading.pool.checkedout() == 0  # type: ignore[attr-defined]
    if store.engines.is_sqlite:
        _hear_sqlite(store.engines, statements)
    else:
        _hear_postgresql(store.engines, statements)
    return statements


def _hear_sqlite(engines: Engines, statements: Statements) -> None:
    def trace(connection: sqlite3.Connection, _record: object) -> None:
        connection.set_trace_callback(statements.note)

    for engine in (engines.reading, engines.writing):
        event.listen(engine, "connect", trace)


def _hear_postgresql(engines: Engines, statements: Statements) -> None:
    class HeardLine(Line):
        def _send(self, sendings: Sequence[Sending]) -> list[Any]:
            for sending in (*self._owed, *sendings):
                statements.note(sending.what.text.decode())
            return super()._send(sendings)

    def keep_line(connection: Any, _record: object) -> None:
        connection.line = HeardLine(connection)

    def hear(_conn: Any, _cursor: Any, statement: str, *_more: Any) -> None:
        statements.note(statement)

    for engine in (engines.reading, engines.writing):
        event.listen(engine, "connect", keep_line)
        event.listen(engine, "before_cursor_execute", hear)

"""A database that fails on demand: at the n-th statement of a request, or at a commit.

It sits where all ways to the database meet, at the driver's own connections and cursors: under the
toolkit, under prepared statements, under savepoints, and under what a commit tells other processes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import psycopg
from psycopg.errors import AdminShutdown
from sqlalchemy import event

from app.store.by_name import Line, Sending
from app.store.engine import Engines

WORDS = ("PRAGMA", "SAVEPOINT", "RELEASE", "ROLLBACK")
"""What a connection is set up with, and what undoes or keeps: they do not change anything."""


class Way(StrEnum):
    """How a statement fails."""

    LOST = "lost"  # with its transaction: the disk or the line failed
    REFUSED = "refused"  # alone: the database does not take it


@dataclass(frozen=True, slots=True)
class Failure:
    """Which statement of a request fails: the n-th, or the n-th that begins with a word. It fails
    each time that it is run, on a fresh line too, unless it fails only once.
    """

    nth: int
    way: Way = Way.LOST
    word: str = ""
    once: bool = False


@dataclass
class Fault:
    """What fails next. Disarmed, everything works."""

    armed: Failure | None = None
    seen: int = 0
    failed: list[str] = field(default_factory=list)

    @contextmanager
    def at(self, failure: Failure) -> Iterator[None]:
        """From here to the end of the block."""
        self.armed, self.seen, self.failed = failure, 0, []
        try:
            yield
        finally:
            self.armed = None

    def meet(self, text: str, lost: type[Exception], refused: type[Exception]) -> None:
        """A statement or a commit is about to be run; the errors are the driver's own."""
        failure = self.armed
        if failure is None or text.lstrip().upper().startswith(WORDS):
            return
        self.seen += text.startswith(failure.word)
        again = text in self.failed and not failure.once
        if again or (self.seen == failure.nth and not self.failed):
            self.failed.append(text)
            error = lost if failure.way is Way.LOST else refused
            raise error("it failed on purpose")


def fail_on_demand(engines: Engines) -> Fault:
    """A fault that the writer's connections will meet. Before the first of them is opened."""
    fault = Fault()
    connect = _sqlite(fault) if engines.is_sqlite else _postgresql(fault)

    def open_one(_dialect: object, _record: object, arguments: Any, named: Any) -> Any:
        return connect(*arguments, **named)

    def keep_line(connection: Any, _record: object) -> None:
        connection.line = FailingLine(connection, fault)

    event.listen(engines.writing, "do_connect", open_one)
    if not engines.is_sqlite:
        event.listen(engines.writing, "connect", keep_line)
    return fault


def _sqlite(fault: Fault) -> Any:
    class Cursor(sqlite3.Cursor):
        def execute(self, sql: str, *more: Any) -> Any:
            fault.meet(sql, sqlite3.OperationalError, sqlite3.DatabaseError)
            return super().execute(sql, *more)

        def executemany(self, sql: str, *more: Any) -> Any:
            fault.meet(sql, sqlite3.OperationalError, sqlite3.DatabaseError)
            return super().executemany(sql, *more)

    class Connection(sqlite3.Connection):
        def cursor(self, *_factory: Any) -> Any:
            return super().cursor(Cursor)

        def execute(self, sql: str, *more: Any) -> Any:
            return self.cursor().execute(sql, *more)

        def commit(self) -> None:
            fault.meet("COMMIT", sqlite3.OperationalError, sqlite3.DatabaseError)
            super().commit()

    def connect(*arguments: Any, **named: Any) -> sqlite3.Connection:
        return sqlite3.connect(*arguments, factory=Connection, **named)

    return connect


class FailingLine(Line):
    """What goes past the driver's cursors: each statement of what is sent together, and commits."""

    def __init__(self, connection: Any, fault: Fault) -> None:
        super().__init__(connection)
        self._fault = fault

    def _send(self, sendings: Sequence[Sending]) -> list[Any]:
        try:
            for sending in (*self._owed, *sendings):
                self._fault.meet(sending.what.text.decode(), AdminShutdown, psycopg.DatabaseError)
        except psycopg.Error:
            self._owed = []
            raise
        return super()._send(sendings)

    def commit(self) -> None:
        self._fault.meet("COMMIT", AdminShutdown, psycopg.DatabaseError)
        super().commit()


def _postgresql(fault: Fault) -> Any:
    class Cursor(psycopg.Cursor[Any]):
        def execute(self, query: Any, *more: Any, **named: Any) -> Any:
            fault.meet(str(query), AdminShutdown, psycopg.DatabaseError)
            return super().execute(query, *more, **named)

        def executemany(self, query: Any, *more: Any, **named: Any) -> Any:
            fault.meet(str(query), AdminShutdown, psycopg.DatabaseError)
            return super().executemany(query, *more, **named)

    def connect(*arguments: Any, **named: Any) -> psycopg.Connection[Any]:
        return psycopg.connect(*arguments, cursor_factory=Cursor, **named)

    return connect

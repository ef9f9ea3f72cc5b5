"""Opening the database: which engine, with which promises.

SQLite is the default: write-ahead log, a disk sync at every commit, foreign keys enforced, one
writing connection, readers that cannot write. SQLite before 3.51.3 has a race when two connections
write or checkpoint a write-ahead log at once; one writer and one process stay clear of it, and a
lock file beside the database refuses a second process. PostgreSQL takes any number of processes.
Errors do not show the values of a statement, since they end in a log and may name people.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.engine import URL

from app.refusals import Unavailable
from app.store.by_name import Line, line_of

BUSY_TIMEOUT_MS = 5_000
READERS = 8


@dataclass(frozen=True, slots=True)
class Engines:
    """One engine to write with (a single connection) and one to read with."""

    writing: Engine
    reading: Engine
    url: URL

    @property
    def is_sqlite(self) -> bool:
        """Whether this is SQLite, with its one process and its reads on the event loop."""
        return self.url.get_backend_name() == "sqlite"

    def transaction_of(self, conn: Connection) -> Callable[[str], object]:
        """What takes a word about the open transaction, such as a savepoint.

        Straight through the driver: the toolkit's way to a savepoint takes ten times as long as the
        savepoint does.
        """
        if self.is_sqlite:
            cursor: sqlite3.Cursor = conn.connection.cursor()  # type: ignore[assignment]
            return cursor.execute
        return partial(_mark, conn)

    def settle(self, conn: Connection) -> None:
        """Have the server take whatever is still owed to it; the driver's error where it refuses.

        Commits, savepoints and the toolkit's statements do so by themselves.
        """
        if not self.is_sqlite:
            line_of(conn).settle()

    def let_go(self, conn: Connection) -> None:
        """Undo at once what is open on a connection that is given up: SQLite keeps it, with its
        lock, for as long as anybody holds a cursor that was not read to its end, and an error may
        hold one until it is collected. PostgreSQL sees that the line is gone.
        """
        if self.is_sqlite and not conn.invalidated:
            with suppress(sqlite3.Error):
                conn.connection.rollback()

    @property
    def driver_error(self) -> type[Exception]:
        """The base of what the driver itself raises."""
        error: type[Exception] = self.writing.dialect.loaded_dbapi.Error
        return error

    @property
    def driver_failure(self) -> type[Exception]:
        """What the driver itself raises where the database, and not a statement, is at fault."""
        error: type[Exception] = self.writing.dialect.loaded_dbapi.OperationalError
        return error

    def dispose(self) -> None:
        """Close all connections."""
        self.reading.dispose()
        self.writing.dispose()


def open_engines(database_url: str) -> Engines:
    """Engines for a SQLAlchemy URL; ValueError for an engine that is neither of the two."""
    url = make_url(database_url)
    backend = url.get_backend_name()
    if backend == "sqlite":
        return _open_sqlite(url)
    if backend == "postgresql":
        return _open_postgresql(url.set(drivername="postgresql+psycopg"))
    raise ValueError(f"DATABASE_URL names {backend}; it must be sqlite:/// or postgresql://")


def database_path(url: URL) -> Path:
    """The file of a SQLite database itself, where the address names a link to it."""
    return Path(url.database or "").resolve()


def keep_private(path: Path) -> None:
    """Make the file, where there is none, so that only its owner reads it: it holds names.

    SQLite gives the files beside it the same rights.
    """
    with suppress(OSError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))


def _open_sqlite(url: URL) -> Engines:
    if not url.database or url.database == ":memory:":
        raise ValueError("Zone Docket keeps its record in a file: give sqlite:///path/to/file.db")
    keep_private(database_path(url))
    # isolation_level=None: the driver opens no transaction of its own; the writer and the readers
    # say BEGIN themselves, so that a write takes the lock at once (BEGIN IMMEDIATE).
    options: dict[str, Any] = {"check_same_thread": False, "isolation_level": None}
    writing = create_engine(
        url, connect_args=options, pool_size=1, max_overflow=0, hide_parameters=True
    )
    reading = create_engine(
        url,
        connect_args=options,
        pool_size=READERS,
        max_overflow=READERS,
        hide_parameters=True,
    )
    event.listen(writing, "connect", _prepare_sqlite_writer)
    event.listen(reading, "connect", _prepare_sqlite_reader)
    # Not by an event: with one on the engine the toolkit asks at each statement who listens.
    writing.dialect.do_begin = _begin_immediate  # type: ignore[method-assign, assignment]
    return Engines(writing, reading, url)


def _begin_immediate(connection: Any) -> None:
    connection.execute("BEGIN IMMEDIATE")


def _prepare_sqlite_writer(connection: sqlite3.Connection, _record: object) -> None:
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    _prepare_sqlite(connection)


def _prepare_sqlite_reader(connection: sqlite3.Connection, _record: object) -> None:
    _prepare_sqlite(connection)
    connection.execute("PRAGMA query_only=ON")


def _prepare_sqlite(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")


PATIENCE = {
    "connect_timeout": "5",  # seconds until a server that takes the line says a word
    "tcp_user_timeout": "15000",  # milliseconds until it takes what was sent to it
    "keepalives_idle": "15",
    "keepalives_interval": "5",
    "keepalives_count": "3",
}
"""A server that is cut off neither refuses nor ends a line: without these whoever asks it waits for
a quarter of an hour. What `DATABASE_URL` says itself of them stands."""
OF_A_GROUP = {"idle_in_transaction_session_timeout": "20s"}
"""What the server holds the writer to. Where the line was cut in the middle of a group, it would
keep the group's locks for hours after this process, or its machine, had gone."""


def _open_postgresql(url: URL) -> Engines:
    url = url.update_query_dict({**PATIENCE, **url.query})
    writing = create_engine(
        url, pool_size=1, max_overflow=0, pool_pre_ping=True, hide_parameters=True
    )
    reading = create_engine(
        url,
        # All are kept: one that is opened for a burst and closed after it costs a process of the
        # server, and knows no statement yet.
        pool_size=2 * READERS,
        max_overflow=0,
        pool_pre_ping=True,
        # The connection that was used last knows most statements already; a rollback would have
        # the driver forget them all.
        pool_use_lifo=True,
        pool_reset_on_return="commit",
        hide_parameters=True,
    )
    for one in (writing, reading):
        event.listen(one, "connect", _remember_statements)
        event.listen(one, "connect", _keep_line, insert=True)
        one.dialect.do_rollback = _roll_back  # type: ignore[method-assign, assignment]
        one.dialect.do_commit = _commit  # type: ignore[method-assign, assignment]
    event.listen(writing, "connect", _limit_groups)
    event.listen(reading, "connect", _read_one_snapshot)
    event.listen(writing, "before_cursor_execute", _settle_first)
    return Engines(writing, reading, url)


MOST_PLANNED = 600
"""There are some 400 statements; lists of ids make one more of each length, and each plan takes
memory of the server."""
NAMED = 100
"""So many of them at the most are known by names of their own (`by_name.py`)."""


def _remember_statements(connection: Any, _record: object) -> None:
    """What is asked a few times is planned once, and not forgotten for another statement; the
    driver would keep 100.
    """
    connection.prepared_max = MOST_PLANNED - NAMED


def _limit_groups(connection: Any, _record: object) -> None:
    for name, value in OF_A_GROUP.items():
        connection.execute(f"SET {name} = '{value}'")
    connection.commit()


def _read_one_snapshot(connection: Any, _record: object) -> None:
    """Each transaction of this connection is one snapshot, in which nothing can be written."""
    connection.execute(
        "SET SESSION CHARACTERISTICS AS TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"
    )
    connection.commit()


def _keep_line(connection: Any, _record: object) -> None:
    connection.line = Line(connection)


def _settle_first(conn: Connection, *_about: object) -> None:
    line_of(conn).settle()


def _mark(conn: Connection, word: str) -> None:
    """A word about the transaction: what is owed comes before it, or is undone with the rest."""
    line = line_of(conn)
    if word.startswith("ROLLBACK"):
        line.forget()
    else:
        line.settle()
    tell_plainly(conn.connection.dbapi_connection, word)


def _commit(connection: Any) -> None:
    connection.line.commit()


def _roll_back(connection: Any) -> None:
    connection.line.forget()
    if connection.pgconn.transaction_status:  # 0 is idle: there is nothing to undo
        tell_plainly(connection, "ROLLBACK")


def tell_plainly(connection: Any, word: str) -> None:
    """Tell PostgreSQL a word about the transaction past the driver.

    At each ROLLBACK, also to a savepoint, the driver forgets all statements that are planned, since
    a table that was made in between would be gone. Here none is made, refusals are ordinary, and
    after each one the writer's 400 statements were read and planned ten times before they held.
    """
    told = connection.pgconn.exec_(word.encode())
    if told.error_message:
        connection.execute(word)  # which fails likewise, with the driver's own error


@contextmanager
def only_process(url: URL) -> Iterator[None]:
    """Hold the lock file beside a SQLite database; Unavailable where another process has it,
    ValueError where there is no folder for it.
    """
    if url.get_backend_name() != "sqlite":
        yield
        return
    path = Path(f"{database_path(url)}.lock")
    if not path.parent.is_dir():
        raise ValueError(
            f"there is no folder {path.parent} for the database that DATABASE_URL names; make it "
            "first"
        )
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Unavailable(
                f"Another process uses {url.database}. SQLite serves one process: stop the other "
                "one, or move to PostgreSQL with DATABASE_URL."
            ) from error
        yield
    finally:
        os.close(descriptor)

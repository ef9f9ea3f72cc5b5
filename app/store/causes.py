"""What is the matter with the database, in words for whoever runs the server.

Of SQLite by its result codes (sqlite.org, rescode.html), of PostgreSQL by its SQLSTATE (PostgreSQL,
appendix A). Words of the database itself are for the log: they may tell a path or a user.
"""

from __future__ import annotations

import sqlite3

from sqlalchemy import exc

FULL = "its disk is full"
READ_ONLY = "it is read-only"
DISK = "its disk fails"
GONE = "its server cannot be reached"
CROWDED = "all connections to it are in use"
MEMORY = "there is no memory left for it"
BUSY = "something else holds it"
DAMAGED = "its file is damaged"
_UNKNOWN = "the log says why"

NEVER_KEPT = (FULL, READ_ONLY, BUSY)
"""Where a commit fails for one of these, it has not been kept."""

_OF_SQLITE = {
    13: FULL,
    8: READ_ONLY,
    10: DISK,
    14: "its file cannot be opened",
    7: MEMORY,
    5: BUSY,
    6: BUSY,
    11: DAMAGED,
    26: DAMAGED,
}
_OF_POSTGRESQL = {
    "53100": FULL,
    "53200": MEMORY,
    "53300": "its server has too many connections",
    "25006": READ_ONLY,
    "58030": DISK,
    "55P03": BUSY,
    "57P01": GONE,
    "57P02": GONE,
    "57P03": "its server starts or stops",
}

_NOT_DECODED = "Could not decode to UTF-8"
_TAKEN_ON_SQLITE = (1555, 2067)
_TAKEN_ON_POSTGRESQL = "23505"


def is_taken(error: BaseException) -> bool:
    """Whether a row was to be stored whose key another one has."""
    driven = _driven(error)
    code = getattr(driven, "sqlite_errorcode", None)
    return code in _TAKEN_ON_SQLITE or getattr(driven, "sqlstate", None) == _TAKEN_ON_POSTGRESQL


def is_unreadable(error: BaseException) -> bool:
    """Whether SQLite holds a text that is none, in UTF-8. Its driver's own word for that carries no
    code, and is of the same type as what is told of a database that fails.
    """
    driven = _driven(error)
    return isinstance(driven, sqlite3.OperationalError) and str(driven).startswith(_NOT_DECODED)


def _driven(error: BaseException | None) -> BaseException | None:
    return getattr(error, "orig", None) or error


def cause_of(error: BaseException | None) -> str:
    """What an error of the toolkit or of a driver means."""
    if isinstance(error, MemoryError):
        return MEMORY
    if isinstance(error, exc.TimeoutError):  # of the pool: none became free in its time
        return CROWDED
    driven = _driven(error)
    code = getattr(driven, "sqlite_errorcode", None)
    if code is not None:
        return _OF_SQLITE.get(code & 0xFF, _UNKNOWN)
    state = getattr(driven, "sqlstate", None)
    if state is not None:
        return _OF_POSTGRESQL.get(state, GONE if state.startswith("08") else _UNKNOWN)
    # The driver's own word for a line that broke or was never there carries no code.
    return GONE if type(driven).__module__.startswith("psycopg") else _UNKNOWN

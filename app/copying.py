"""Copying a SQLite database out while it is served, and back in while it is not.

A copy says when it was made, in a table of its own: a file's time changes with every move.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from functools import partial
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import DBAPIError

from app.checking.database import UNREADABLE, check_database
from app.clock import SystemClock, rfc3339
from app.config import Settings
from app.last_backup import instant_in, note_backup
from app.migrating import insist_known
from app.restoring import note_in
from app.store.engine import database_path, keep_private, open_engines
from app.store.revision import stored_revision

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a database while it is open, or was when its process died."""


def back_up(source: Path, copy: Path) -> None:
    """A consistent copy of a database, also while it is written to; nothing is overwritten. That it
    was made is noted beside the database; ValueError where that fails, though the copy is whole.
    """
    if not source.exists():
        raise ValueError(f"there is no database {source}; DATABASE_URL says where to look")
    if copy.exists():
        raise ValueError(f"{copy} is there already; choose another name")
    if not copy.parent.is_dir():
        raise ValueError(f"there is no folder {copy.parent} to put the copy into; make it first")
    try:
        began = SystemClock().now()
        with _named(source, "copied"):
            _copy(source, copy)
            _say_when(copy, began)
    except BaseException:
        _remove(copy)
        raise
    try:
        note_backup(source, began)
    except OSError as error:
        raise ValueError(
            f"{copy} is whole; that it was made cannot be noted beside {source}: {error.strerror}"
        ) from error


def put_back(copy: Path, settings: Settings, *, replace: bool) -> list[str]:
    """Put a copy in place of the database that the settings name and nothing has open; gives what
    is to be told about it.

    1. Refuse what cannot be meant: the database itself as its copy, a target that is there.
    2. Write the copy beside the target, and look at what was written: its pages, its schema, and
       every meet's record against its head.
    3. Say in what was written, in every meet's record, that it was restored.
    4. Bring what the old database has in its write-ahead log into its own file, so that none of
       it is left to be taken for the new one's.
    5. Exchange the two in one step. Until then the old database is whole, whatever fails.
    """
    target = database_path(make_url(settings.database_url))  # where a link leads, not the link
    _insist_meant(copy, target, replace=replace)  # 1
    fresh = target.with_name(f"{target.name}.new")
    if fresh.exists():  # the user's, or left by a run that was killed: never ours to delete
        raise ValueError(f"{fresh} is in the way; move it elsewhere first")
    try:
        with _named(copy, "restored"):
            _copy(copy, fresh)  # 2
            _insist_good(fresh, named=copy)
            told = _put_on_record(fresh, settings)  # 3
        if target.exists():
            shutil.copymode(target, fresh)
            _fold_log_in(target)  # 4
        _sync(fresh)
        fresh.replace(target)  # 5
    except BaseException:
        with suppress(OSError):  # why it failed is what must be told
            _remove(fresh)
        raise
    _sync(target.parent)
    return told


def _insist_meant(copy: Path, target: Path, *, replace: bool) -> None:
    if not copy.exists():
        raise ValueError(f"{copy} is not there")
    if not copy.is_file():
        raise ValueError(f"{copy} is no file")
    if not target.exists():
        left = [path for end in BESIDE if (path := Path(f"{target}{end}")).exists()]
        if left:
            raise ValueError(f"{left[0]} is left of another database; move it away first")
    elif copy.samefile(target):
        raise ValueError(f"{copy} is the database itself, not a copy of it; nothing was changed")
    elif not replace:
        raise ValueError(f"{target} is there already; say --replace to replace it")


@contextmanager
def _named(path: Path, done: str) -> Iterator[None]:
    """What SQLite says of a file that it cannot read tells which file that is: ValueError."""
    try:
        yield
    except (sqlite3.Error, DBAPIError) as error:
        reason = error.orig if isinstance(error, DBAPIError) else error
        raise ValueError(f"{path} cannot be {done}: {reason}") from error
    except UNREADABLE as error:
        if str(error).startswith(str(path)):
            raise
        why = " ".join(str(error).split())[:200]
        said = f"{path} cannot be {done}, since something in it cannot be read: {why}"
        raise ValueError(said) from error


def _copy(source: Path, copy: Path) -> None:
    keep_private(copy)
    with (
        closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as live,
        closing(sqlite3.connect(copy)) as made,
    ):
        live.backup(made)
        # One file that can be read anywhere: in the other mode SQLite writes beside what it reads.
        made.execute("PRAGMA journal_mode=DELETE")


def _say_when(copy: Path, began: datetime) -> None:
    with closing(sqlite3.connect(copy)) as made, made:
        made.execute("DROP TABLE IF EXISTS copy_made")  # where the database was a copy itself
        made.execute("CREATE TABLE copy_made (at TEXT NOT NULL)")
        made.execute("INSERT INTO copy_made VALUES (?)", (rfc3339(began),))


def _take_when(fresh: Path) -> datetime | None:
    """When the copy was made; None where it does not say. What is restored says it no more."""
    with closing(sqlite3.connect(fresh)) as made, made:
        made.text_factory = partial(str, encoding="utf-8", errors="replace")
        if not made.execute("SELECT 1 FROM sqlite_master WHERE name = 'copy_made'").fetchone():
            return None
        said = made.execute("SELECT at FROM copy_made").fetchone()
        made.execute("DROP TABLE copy_made")
    return None if said is None else instant_in(said[0])


def _put_on_record(fresh: Path, settings: Settings) -> list[str]:
    copied_at = _take_when(fresh)
    url = URL.create("sqlite", database=str(fresh))
    told = note_in(settings.model_copy(update={"database_url": str(url)}), copied_at)
    _end_log(fresh)
    return told


def _end_log(path: Path) -> None:
    """Make it one file that stands for itself: no log beside it while it is moved."""
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA journal_mode=DELETE")


def _insist_good(fresh: Path, *, named: Path) -> None:
    """ValueError where a fresh copy is not a whole database of this program."""
    with closing(sqlite3.connect(fresh)) as conn:
        found = conn.execute("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        raise ValueError(f"{named} is damaged: {' '.join(found.split())}")
    engines = open_engines(str(URL.create("sqlite", database=str(fresh))))
    try:
        with engines.reading.connect() as reader:
            revision = stored_revision(reader)
            if revision is None:
                raise ValueError(f"{named} is no database of this program")
            _insist_known(revision, named)
            for mismatch in check_database(reader).mismatches[:1]:
                raise ValueError(f"{named}: its records do not agree: {mismatch}")
    finally:
        engines.dispose()


def _insist_known(revision: str, named: Path) -> None:
    try:
        insist_known(revision)
    except ValueError as error:
        raise ValueError(f"{named}: {error}") from error


def _fold_log_in(target: Path) -> None:
    """End the old database's write-ahead log; ValueError where it is damaged or somebody's."""
    try:
        with closing(sqlite3.connect(target)) as conn:
            conn.execute("SELECT count(*) FROM sqlite_schema")  # rolls back what was cut off
            conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            conn.execute("PRAGMA journal_mode=DELETE")  # needs the database to itself
    except sqlite3.DatabaseError as error:
        raise ValueError(
            f"{target} cannot be replaced ({error}), nothing was changed; close what has it open, "
            f"or, if it is damaged, move it away together with {target.name}-wal, and restore then"
        ) from error


def _remove(path: Path) -> None:
    for end in ("", *BESIDE):
        Path(f"{path}{end}").unlink(missing_ok=True)


def _sync(path: Path) -> None:
    """Bring a file, or a folder's names, onto the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)

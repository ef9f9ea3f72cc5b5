"""Copying a SQLite database out while it is served, and back in while it is not."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from sqlalchemy import URL

from app.checking.database import check_database
from app.migrating import insist_known
from app.store.engine import keep_private, open_engines
from app.store.revision import stored_revision

BESIDE = ("-wal", "-shm", "-journal")
"""What SQLite keeps beside a database while it is open, or was when its process died."""


def back_up(source: Path, copy: Path) -> None:
    """A consistent copy of a database, also while it is written to; nothing is overwritten."""
    if not source.exists():
        raise ValueError(f"there is no database {source}; DATABASE_URL says where to look")
    if copy.exists():
        raise ValueError(f"{copy} is there already; choose another name")
    try:
        _copy(source, copy)
    except BaseException:
        _remove(copy)
        raise


def put_back(copy: Path, target: Path, *, replace: bool) -> None:
    """Put a copy in place of a database that nothing has open.

    1. Refuse what cannot be meant: the database itself as its copy, a target that is there.
    2. Write the copy beside the target, and look at what was written: its pages, its schema, and
       every meet's record against its head.
    3. Bring what the old database has in its write-ahead log into its own file, so that none of
       it is left to be taken for the new one's.
    4. Exchange the two in one step. Until then the old database is whole, whatever fails.
    """
    target = target.resolve()  # what a link leads to is replaced, not the link
    _insist_meant(copy, target, replace=replace)  # 1
    fresh = target.with_name(f"{target.name}.new")
    if fresh.exists():  # the user's, or left by a run that was killed: never ours to delete
        raise ValueError(f"{fresh} is in the way; move it elsewhere first")
    try:
        _copy(copy, fresh)  # 2
        _insist_good(fresh, named=copy)
        if target.exists():
            shutil.copymode(target, fresh)
            _fold_log_in(target)  # 3
        _sync(fresh)
        fresh.replace(target)  # 4
    except BaseException:
        with suppress(OSError):  # why it failed is what must be told
            _remove(fresh)
        raise
    _sync(target.parent)


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


def _copy(source: Path, copy: Path) -> None:
    keep_private(copy)
    with (
        closing(sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)) as live,
        closing(sqlite3.connect(copy)) as made,
    ):
        live.backup(made)
        # One file that can be read anywhere: in the other mode SQLite writes beside what it reads.
        made.execute("PRAGMA journal_mode=DELETE")


def _insist_good(fresh: Path, *, named: Path) -> None:
    """ValueError where a fresh copy is not a whole database of this program."""
    with closing(sqlite3.connect(fresh)) as conn:
        # One file that stands for itself: no log beside it while it is moved.
        conn.execute("PRAGMA journal_mode=DELETE")
        found = conn.execute("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        raise ValueError(f"{named} is damaged: {' '.join(found.split())}")
    engines = open_engines(str(URL.create("sqlite", database=str(fresh))))
    try:
        with engines.reading.connect() as reader:
            revision = stored_revision(reader)
            if revision is None:
                raise ValueError(f"{named} is no database of this program")
            insist_known(revision)
            for mismatch in check_database(reader).mismatches[:1]:
                raise ValueError(f"{named}: its records do not agree: {mismatch}")
    finally:
        engines.dispose()


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

"""Copies that were spoilt, and exports instead of copies: each is put back whole, or refused with
its name and the reason, and then the database is what it was.
"""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import strategies as st

from app.config import Settings
from app.copying import back_up, put_back
from tests.exporting.conftest import SealedMeet
from tests.exporting.conftest import _play as a_played_meet
from tests.fuzz.bounds import within
from tests.fuzz.budget import tried
from tests.fuzz.mutating import HOSTILE, mutated, with_one_byte_turned
from tests.fuzz.test_export_zips import Zip

SECONDS, MEBIBYTES = 30, 512
VALUES = (
    *(None, -1, 0, 2**62, 1.5, "", "x", "\0", "9" * 400, "{}", "[]", "[" * 5_000, "null"),
    *(b"", b"\xff\xfe", b"\0" * 5_000, "2026-06-13", "9999-99-99 99:99:99.999999"),
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Zip:
    """A copy of a meet in which everything was done."""
    folder = tmp_path_factory.mktemp("copied")
    for stage in a_played_meet(folder):
        back_up(Path(str(stage.store.engines.url.database)), folder / "copy.db")
    return Zip((folder / "copy.db").read_bytes())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def put_back_calmly(folder: Path, content: bytes) -> str:
    """Why it was refused, with its name; empty where it was put back. Nothing is left besides."""
    copy, target = folder / "copy.db", folder / "meet.db"
    for left in folder.iterdir():
        left.unlink()
    copy.write_bytes(content)
    with within(SECONDS, MEBIBYTES):
        why = refusal_of(copy, target)
    assert copy.read_bytes() == content
    # A copy that says it has a write-ahead log gets one beside it, by whoever opens it.
    beside = {"copy.db-wal", "copy.db-shm"}
    assert {one.name for one in folder.iterdir()} <= {"copy.db", "meet.db", *beside}
    assert target.exists() == (not why)
    assert not why or str(copy) in why, why
    return why


def refusal_of(copy: Path, target: Path) -> str:
    settings = Settings(database_url=f"sqlite:///{target}")
    try:
        put_back(copy, settings, replace=False)
    except ValueError as refused:
        return str(refused)
    return ""


def test_the_good_copy_is_put_back(whole: Zip, folder: Path) -> None:
    assert put_back_calmly(folder, whole) == ""


@tried(12, data=st.data())
def test_a_spoilt_copy_is_put_back_or_refused(
    whole: Zip, folder: Path, data: st.DataObject
) -> None:
    put_back_calmly(folder, data.draw(mutated([whole])))


@tried(8, data=st.data())
def test_a_copy_with_one_byte_of_its_first_page_turned_is_put_back_or_refused(
    whole: Zip, folder: Path, data: st.DataObject
) -> None:
    put_back_calmly(folder, data.draw(with_one_byte_turned(whole, range(200))))


@tried(25, number=st.integers(0, 2**40))
def test_a_copy_that_says_something_else_in_one_place_is_put_back_or_refused(
    whole: Zip, folder: Path, number: int
) -> None:
    chance, path = random.Random(number), folder / "changed.db"
    path.write_bytes(whole)
    with closing(sqlite3.connect(path)) as conn, conn:
        say_something_else(conn, chance)
    put_back_calmly(folder, path.read_bytes())


def say_something_else(conn: sqlite3.Connection, chance: random.Random) -> None:
    """Another value in one column of one row of a table; its guards are there again afterwards."""
    names = [name for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type='table'")]
    held = [name for name in names if conn.execute(f'SELECT 1 FROM "{name}"').fetchone()]
    table = chance.choice(sorted(held))
    guards = conn.execute(
        "SELECT name, sql FROM sqlite_master WHERE type='trigger' AND tbl_name=?", (table,)
    ).fetchall()
    for name, _ in guards:
        conn.execute(f'DROP TRIGGER "{name}"')
    columns = [row[1] for row in conn.execute(f'PRAGMA table_info("{table}")')]
    (row,) = chance.choice(conn.execute(f'SELECT rowid FROM "{table}"').fetchall())
    conn.execute(
        f'UPDATE OR IGNORE "{table}" SET "{chance.choice(columns)}" = ? WHERE rowid = ?',
        (chance.choice(VALUES), row),
    )
    for _, sql in guards:
        conn.execute(sql)


def test_an_export_is_no_copy(sealed: SealedMeet, exported: Path, folder: Path) -> None:
    path = folder / "export.zip"
    sealed.export(path)
    for content in (path.read_bytes(), *(one.read_bytes() for one in exported.glob("*.*"))):
        assert put_back_calmly(folder, content)


@pytest.mark.parametrize("hostile", HOSTILE, ids=lambda one: repr(one[:12]))
def test_what_readers_stumble_over_is_no_copy(folder: Path, hostile: bytes) -> None:
    assert put_back_calmly(folder, hostile)
    assert put_back_calmly(folder, b"SQLite format 3\0" + hostile * 100)

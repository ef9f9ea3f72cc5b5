"""A record that was restored says so: what was printed after the copy does not accuse the meet."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import make_url, select

from app.cli import main
from app.clock import rfc3339
from app.exporting.wanted import Order, choose
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.queries import entries_about
from app.schema import all_tables
from app.store.engine import only_process, open_engines
from tests.builders import a_meet
from tests.conftest import ENGINES, NewDatabase
from tests.running import a_service
from tests.sealing.test_papers import a_ruled_case, form

PASSPHRASE = "quay lantern"


@pytest.fixture(autouse=True)
def seal_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ZONEDOCKET_SEAL_FOLDER", str(tmp_path / "seal"))
    monkeypatch.setenv("ZONEDOCKET_SEAL_PASSPHRASE", PASSPHRASE)


def run(url: str, *arguments: str) -> int:
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("DATABASE_URL", url)
        return main(list(arguments))


def restorings(url: str, meet: str) -> list[Mapping[str, Any]]:
    """What the record of a meet says of restorings, the last entry of it among them."""
    engines = open_engines(url)
    try:
        with engines.reading.connect() as conn:
            made = entries_about(conn, MeetId(meet), Kind.RECORD_RESTORED, meet)
            return [{**(one.body or {}), "seq": one.seq} for one in made]
    finally:
        engines.dispose()


def signed_sizes(url: str, meet: str) -> set[int]:
    heads = all_tables().tables["checkpoints"]
    engines = open_engines(url)
    try:
        with engines.reading.connect() as conn:
            asked = select(heads.c.size).where(heads.c.meet_id == meet)
            return set(conn.execute(asked).scalars())
    finally:
        engines.dispose()


class Stopped:
    """A database with a meet and a sealed form, which is served no more, and a copy of it from
    before something more was done and printed.
    """

    def __init__(self, folder: Path, url: str) -> None:
        self.url, self.copy = url, folder / "copy.db"
        with a_service(url) as service:
            meet = a_meet(service)
            self.meet = meet.id
            self.ruling = a_ruled_case(meet)
            form(meet, self.ruling)
            self.size = meet.head()["size"]
            if url.startswith("sqlite"):
                assert run(url, "backup", str(self.copy)) == 0
            self.made = datetime.now(UTC)
            form(meet, self.ruling, paper="letter")
            self.later = meet.head()["size"]


@pytest.fixture
def stopped(tmp_path: Path, new_database: NewDatabase) -> Stopped:
    return Stopped(tmp_path, new_database("sqlite"))


def test_a_restored_record_says_with_how_many_entries_it_came_back_and_from_when(
    stopped: Stopped,
) -> None:
    began = datetime.now(UTC)
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    (told,) = restorings(stopped.url, stopped.meet)
    assert told["size"] == stopped.size < stopped.later
    assert told["seq"] == stopped.size + 1
    assert told["copied_at"] < rfc3339(stopped.made)
    assert rfc3339(began) < told["restored_at"] < rfc3339(datetime.now(UTC))
    assert run(stopped.url, "check", "--database") == 0


def test_the_head_with_the_restoring_is_signed(stopped: Stopped) -> None:
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    assert stopped.size + 1 in signed_sizes(stopped.url, stopped.meet)


@pytest.mark.parametrize("why", ["no passphrase", "another passphrase", "no key"])
def test_a_head_that_cannot_be_signed_is_told_and_the_copy_restored(
    stopped: Stopped,
    why: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    passphrase = {"no passphrase": "", "another passphrase": "gull"}.get(why, PASSPHRASE)
    monkeypatch.setenv("ZONEDOCKET_SEAL_PASSPHRASE", passphrase)
    if why == "no key":
        (tmp_path / "seal").rename(tmp_path / "away")
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    assert "Not signed" in capsys.readouterr().out
    assert len(restorings(stopped.url, stopped.meet)) == 1
    assert stopped.size + 1 not in signed_sizes(stopped.url, stopped.meet)


def test_a_copy_of_a_copy_says_when_it_was_made_itself(stopped: Stopped, tmp_path: Path) -> None:
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    assert "copy_made" not in tables(stopped.url)
    second = datetime.now(UTC)
    assert run(f"sqlite:///{stopped.copy}", "backup", str(tmp_path / "second.db")) == 0
    assert run(stopped.url, "restore", str(tmp_path / "second.db"), "--replace") == 0
    (told,) = restorings(stopped.url, stopped.meet)
    assert told["copied_at"] > rfc3339(second)


def tables(url: str) -> set[str]:
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as conn:
        return {name for (name,) in conn.execute("SELECT name FROM sqlite_master")}


@pytest.mark.parametrize(
    "said", ["nothing", "no time", "a time without its zone", "no letters", "no row"]
)
def test_a_copy_that_does_not_say_when_it_was_made_is_restored(stopped: Stopped, said: str) -> None:
    with closing(sqlite3.connect(stopped.copy)) as conn, conn:
        conn.execute({"nothing": "DROP TABLE copy_made"}.get(said, "DELETE FROM copy_made"))
        if said in {"no time", "a time without its zone"}:
            at = {"no time": "once"}.get(said, "2026-06-13T10:00:00")
            conn.execute("INSERT INTO copy_made VALUES (?)", (at,))
        if said == "no letters":
            conn.execute("INSERT INTO copy_made VALUES (CAST(x'ff32303236' AS TEXT))")
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    (told,) = restorings(stopped.url, stopped.meet)
    assert told["copied_at"] is None


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE seals SET verifier_key = x'fffe'", "cannot be read"),
        ("UPDATE papers SET content = 5", "its papers: something there cannot be read"),
        ("UPDATE rulings SET form_facts = 'no document'", "cannot be read"),
    ],
)
def test_a_copy_that_holds_a_value_of_another_type_is_refused_with_its_name(
    stopped: Stopped, statement: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """SQLite keeps whatever it is given, in any column."""
    guards = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    with closing(sqlite3.connect(stopped.copy)) as conn, conn:
        kept = conn.execute(guards).fetchall()
        for name, _ in kept:
            conn.execute(f"DROP TRIGGER {name}")
        conn.execute(statement)
        for _, sql in kept:
            conn.execute(sql)
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 1
    told = capsys.readouterr().err
    assert str(stopped.copy) in told
    assert words in told


@pytest.mark.parametrize("engine", ENGINES)
def test_what_other_tools_restored_is_put_on_record_by_word(
    engine: str, new_database: NewDatabase, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stopped = Stopped(tmp_path, new_database(engine))
    at = "2026-06-13T21:30:00+02:00"
    assert run(stopped.url, "restore", "--note", "--copied-at", at) == 0
    assert "Put on record in 1 meet that it was restored." in capsys.readouterr().out
    (told,) = restorings(stopped.url, stopped.meet)
    assert told["size"] == stopped.later
    assert told["copied_at"] == "2026-06-13T19:30:00.000000Z"
    assert told["seq"] in signed_sizes(stopped.url, stopped.meet)
    assert run(stopped.url, "check", "--database") == 0


AT, ANOTHER = "2026-06-13T21:30:00+02:00", "2026-06-13T22:30:00+02:00"


@pytest.mark.parametrize("again", [("--copied-at", AT), ()], ids=["the same", "no time"])
def test_a_restoring_that_is_on_record_is_not_put_there_again(
    stopped: Stopped, again: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(stopped.url, "restore", "--note", "--copied-at", AT) == 0
    assert run(stopped.url, "restore", "--note", *again) == 1
    assert "nothing was done since" in capsys.readouterr().err
    assert len(restorings(stopped.url, stopped.meet)) == 1


def test_another_copy_that_was_restored_after_all_is_put_on_record(stopped: Stopped) -> None:
    """A copy that was taken right after a restoring ends with that one."""
    for at in (AT, ANOTHER):
        assert run(stopped.url, "restore", "--note", "--copied-at", at) == 0
    assert len(restorings(stopped.url, stopped.meet)) == 2


def test_what_was_done_since_asks_for_a_further_restoring(stopped: Stopped) -> None:
    assert run(stopped.url, "restore", "--note") == 0
    why = ("--all", "--because", "the season is over", "--by", "the organiser")
    assert run(stopped.url, "erase", stopped.meet, *why) == 0
    assert run(stopped.url, "restore", "--note") == 0
    assert len(restorings(stopped.url, stopped.meet)) == 2


@pytest.mark.parametrize("at", ["yesterday", "2026-06-13T21:30:00", "2999-01-01T00:00:00Z"])
def test_a_time_of_copying_that_cannot_be_meant_is_refused(
    at: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["restore", "--note", "--copied-at", at])
    assert ended.value.code == 2
    assert "with its zone" in capsys.readouterr().err


def test_a_copy_says_itself_when_it_was_made(
    stopped: Stopped, capsys: pytest.CaptureFixture[str]
) -> None:
    at = "2026-06-13T21:30:00+02:00"
    assert run(stopped.url, "restore", str(stopped.copy), "--replace", "--copied-at", at) == 1
    assert "goes with --note" in capsys.readouterr().err
    assert restorings(stopped.url, stopped.meet) == []


def test_another_programs_database_is_told_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(tmp_path / "other.db")) as conn:
        conn.execute("CREATE TABLE notes (words)")
    assert run(f"sqlite:///{tmp_path / 'other.db'}", "restore", "--note") == 1
    assert "none of this program's" in capsys.readouterr().err
    assert tables(f"sqlite:///{tmp_path / 'other.db'}") == {"notes"}


def test_nothing_is_put_on_record_beside_a_server(
    new_database: NewDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    url = new_database("sqlite")
    with only_process(make_url(url)):  # as a server does
        assert run(url, "restore", "--note") == 1
    assert "Another process" in capsys.readouterr().err


def test_a_meet_that_was_erased_says_that_it_was_restored(
    stopped: Stopped, capsys: pytest.CaptureFixture[str]
) -> None:
    why = ("--all", "--because", "the season is over", "--by", "the organiser")
    assert run(stopped.url, "erase", stopped.meet, *why) == 0
    assert run(stopped.url, "restore", "--note") == 0
    assert len(restorings(stopped.url, stopped.meet)) == 1
    change(stopped.url, "UPDATE record_heads SET closed = 0")
    assert run(stopped.url, "check", "--database") == 1
    assert "it says that the meet was not erased as a whole" in capsys.readouterr().out


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record_heads SET size = size + 1",
        "UPDATE record_heads SET size = -1",
        "UPDATE record_heads SET root = CAST(root AS BLOB)",
        "UPDATE record_heads SET frontier = 'x'",
        "UPDATE record_heads SET meet_id = x'ff'",
    ],
)
def test_nothing_is_put_on_record_where_the_records_do_not_agree(
    stopped: Stopped, statement: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """It would stand behind what was changed, and hide it."""
    change(stopped.url, statement)
    before = dump(stopped.url)
    assert run(stopped.url, "check", "--database") == 1
    assert run(stopped.url, "restore", "--note") == 1
    assert "do not agree, and nothing was noted" in capsys.readouterr().err
    assert dump(stopped.url) == before


def change(url: str, statement: str) -> None:
    with closing(sqlite3.connect(str(make_url(url).database))) as conn, conn:
        conn.execute(statement)


def dump(url: str) -> list[str]:
    with closing(sqlite3.connect(str(make_url(url).database))) as conn:
        conn.text_factory = bytes
        return [repr(row) for row in conn.execute("SELECT * FROM record_heads")] + [
            repr(row) for row in conn.execute("SELECT count(*), max(seq) FROM record_entries")
        ]


def test_a_part_of_a_record_says_that_it_was_restored(stopped: Stopped) -> None:
    """Whoever holds a sheet that was printed in between can check it against a case file."""
    assert run(stopped.url, "restore", str(stopped.copy), "--replace") == 0
    (told,) = restorings(stopped.url, stopped.meet)
    order = Order(MeetId(stopped.meet), datetime.now(UTC), entries=frozenset({2}))
    engines = open_engines(stopped.url)
    with engines.reading.connect() as conn:
        part = choose(conn, order).part
    engines.dispose()
    assert part is not None
    assert told["seq"] in {one.seq for one in part}

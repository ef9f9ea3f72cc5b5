"""Whatever part of SQLite's write-ahead log reached the disk, what it holds is whole acts.

A log that ends anywhere is what the loss of power leaves; where the file had room before, zeros or
older bytes follow. So does SQLite test itself (sqlite.org, testing.html, crash testing).
"""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import event, make_url

from app.checking.database import check_database
from app.store.engine import open_engines
from tests.builders import MeetAtHand, a_meet, add_official
from tests.conftest import NewDatabase
from tests.faults.every_act import EVERY_ACT
from tests.running import Service, a_service

ACTS = (
    *("call", "report", "return", "withdraw", "picture", "ruling", "announcement", "protest"),
    *("decision on a protest", "decision of the jury", "reopening", "time correction"),
    *("key revoked", "crew", "lots", "rehearsal ended", "join link taken back", "corrected end"),
)


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """What was stored when an answer had come: the log's length, the record's, and all rows."""

    log: int
    entries: int
    rows: list[str]


class Live:
    """A service whose write-ahead log keeps all that it does, from its first act on."""

    def __init__(self, service: Service, path: Path) -> None:
        self.service, self.path = service, path
        self.known: list[Acknowledged] = []

    @property
    def log(self) -> Path:
        return self.path.with_name(f"{self.path.name}-wal")

    def note(self, *_answer: httpx.Response) -> None:
        """What an answer stands for, where something was stored since the last one."""
        length = self.log.stat().st_size
        if not self.known or length > self.known[-1].log:
            with closing(sqlite3.connect(self.path)) as conn:
                self.known.append(Acknowledged(length, entries_of(conn), list(conn.iterdump())))


def entries_of(conn: sqlite3.Connection) -> int:
    found: int = conn.execute("SELECT count(*) FROM record_entries").fetchone()[0]
    return found


@pytest.fixture(scope="module")
def live(new_database: NewDatabase, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """A meet in which much was done."""
    url = new_database("sqlite")
    with a_service(url) as service:
        event.listen(
            service.store.engines.writing,
            "connect",
            lambda connection, _record: connection.execute("PRAGMA wal_autocheckpoint=0"),
        )
        found = Live(service, Path(str(make_url(url).database)))
        _act(found, a_meet(service))
        # The files are as they lie while it runs: its end would bring the log into the database.
        folder = tmp_path_factory.mktemp("live")
        for path in (found.path, found.log):
            shutil.copy(path, folder)
        found.path = folder / found.path.name
        yield found


def _act(live: Live, meet: MeetAtHand) -> None:
    for name in ("second juror", "third juror", "substitute"):
        add_official(meet, name, "jury")
    live.note()
    live.service.http.event_hooks["response"] = [live.note]
    for name in ACTS:
        answer = EVERY_ACT[name](meet).send(live.service.http)
        assert answer.is_success, f"{name}: {answer.text}"


@given(st.floats(0, 1), st.sampled_from(["nothing", "zeros", "noise", "what was there before"]))
@settings(max_examples=40)
def test_a_log_cut_anywhere_holds_whole_acts_and_all_that_was_acknowledged_by_then(
    live: Live, tmp_path: Path, place: float, after: str
) -> None:
    whole = live.log.read_bytes()
    first = live.known[0].log
    cut = first + round(place * (len(whole) - first))
    copy = tmp_path / "copy.db"
    for leftover in tmp_path.glob("copy.db*"):
        leftover.unlink()
    shutil.copy(live.path, copy)
    copy.with_name("copy.db-wal").write_bytes(whole[:cut] + _rest(whole, cut, after))

    with closing(sqlite3.connect(copy)) as conn:
        assert conn.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert conn.execute("PRAGMA foreign_key_check").fetchall() == []
        entries, rows = entries_of(conn), list(conn.iterdump())
    by_then = max((one for one in live.known if one.log <= cut), key=lambda one: one.log)
    if entries == by_then.entries:
        assert rows == by_then.rows
    else:  # between two answers: some requests bring more than one act, the last without an entry
        later = next(one for one in live.known if one.log > cut)
        assert by_then.entries < entries <= later.entries
    _insist_in_order(copy)


def _rest(whole: bytes, cut: int, after: str) -> bytes:
    missing = len(whole) - cut
    if after == "zeros":
        return bytes(missing)
    if after == "noise":
        return random.Random(cut).randbytes(missing)
    # A log that is written over from its beginning has older frames behind the newest one.
    return whole[32 : 32 + missing] if after == "what was there before" else b""


def _insist_in_order(path: Path) -> None:
    """Each meet's record is good, and all rows are as it tells."""
    engines = open_engines(f"sqlite:///{path}")
    try:
        with engines.reading.connect() as conn:
            found = check_database(conn)
    finally:
        engines.dispose()
    assert found.mismatches == []


def test_the_log_that_is_cut_holds_many_acts(live: Live) -> None:
    assert len(live.known) > len(ACTS)
    assert live.known[-1].log == live.log.stat().st_size

"""The one writer: groups, savepoints, all or nothing, and answers only after the commit."""

from __future__ import annotations

import asyncio
import os
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection, event, insert, make_url, select, text
from sqlalchemy.exc import OperationalError

from app.access.tables import tries
from app.clock import SystemClock
from app.ids import MeetId, new_id
from app.record.kinds import Kind
from app.record.log import Keeper
from app.record.queries import head_of
from app.refusals import IdTaken, Refusal, StateConflict, Unavailable
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.engine import only_process, open_engines
from app.store.prepared import Compiled, Values
from app.store.store import Store
from tests.builders import MeetAtHand
from tests.conftest import NewDatabase
from tests.running import Service

SOMEBODY = Actor("somebody")


def add(key: str, *, fails: Exception | None = None) -> Action[str]:
    """An action that stores one row, and then may fail."""

    def act(unit: Unit) -> Done[str]:
        unit.conn.execute(insert(tries).values(key=key, count=1))
        if fails is not None:
            raise fails
        return Done(key, Deed(Kind.CALL, key, {"key": key}))

    return act


def stored_keys(service: Service) -> set[str]:
    keys = select(tries.c.key)
    return set(service.store.read_now(lambda conn: conn.execute(keys).scalars().all()))


def test_an_action_that_fails_never_fails_its_neighbours(service: Service) -> None:
    meet = MeetId(new_id())
    names = [f"neighbour {meet} {number}" for number in range(40)]

    async def all_at_once() -> list[object]:
        work = [
            service.store.act(
                meet,
                SOMEBODY,
                add(name, fails=StateConflict("no") if number % 3 == 0 else None),
            )
            for number, name in enumerate(names)
        ]
        return await asyncio.gather(*work, return_exceptions=True)

    outcomes = asyncio.run(all_at_once())
    good = {name for number, name in enumerate(names) if number % 3}
    assert {one for one in outcomes if isinstance(one, str)} == good
    assert sum(isinstance(one, StateConflict) for one in outcomes) == len(names) - len(good)
    assert stored_keys(service) & set(names) == good
    head = service.store.read_now(lambda conn: head_of(conn, meet))
    assert head.size == len(good)


def test_a_database_error_in_one_action_leaves_the_group_whole(service: Service) -> None:
    meet, twice = MeetId(new_id()), f"twice {new_id()}"
    service.store.act_now(meet, SOMEBODY, add(twice))
    other = f"other {new_id()}"

    async def both() -> list[object]:
        work = [service.store.act(meet, SOMEBODY, add(key)) for key in (twice, other)]
        return await asyncio.gather(*work, return_exceptions=True)

    failed, good = asyncio.run(both())
    assert type(failed).__name__ == "IntegrityError"
    assert good == other
    assert other in stored_keys(service)


def test_what_another_process_stored_a_moment_before_is_seen_and_refused_in_words(
    new_database: NewDatabase,
) -> None:
    """Two PostgreSQL workers take the same new id at once, for two meets: one is told so.

    The action below finds the id free; then the other worker commits it, before this one does.
    """
    url, key = new_database("postgresql"), f"id {new_id()}"
    first, second = (Store(url, SystemClock(), Keeper()) for _ in range(2))
    tried: list[bool] = []

    def take(unit: Unit) -> Done[str]:
        taken = unit.conn.execute(select(tries.c.key).where(tries.c.key == key)).first()
        tried.append(taken is not None)
        if len(tried) == 1:
            raise StateConflict("the group is run again, with savepoints")
        if taken:
            raise IdTaken("something", key)
        if len(tried) == 2:
            second.act_now(MeetId(new_id()), SOMEBODY, add(key))
        return add(key)(unit)

    for store in (first, second):
        store.start()
    try:
        with pytest.raises(IdTaken):
            first.act_now(MeetId(new_id()), SOMEBODY, take)
    finally:
        for store in (first, second):
            store.stop()
    assert tried == [False, False, True]


def test_an_action_and_its_entry_are_stored_together_or_not_at_all(service: Service) -> None:
    meet, key = MeetId(new_id()), f"alone {new_id()}"

    def unknown_kind(unit: Unit) -> Done[None]:
        unit.conn.execute(insert(tries).values(key=key, count=1))
        return Done(None, Deed("no such kind", key, {}))

    with pytest.raises(ValueError, match="no such kind"):
        service.store.act_now(meet, SOMEBODY, unknown_kind)
    assert key not in stored_keys(service)


def test_nobody_is_told_stored_when_the_commit_fails(service: Service) -> None:
    meet, key = MeetId(new_id()), f"never {new_id()}"
    writing = service.store.engines.writing

    def refuse(_conn: object) -> None:
        raise OSError("the disk is gone")

    event.listen(writing, "commit", refuse)
    try:
        with pytest.raises(Unavailable, match="not known"):
            service.store.act_now(meet, SOMEBODY, add(key))
    finally:
        event.remove(writing, "commit", refuse)
    assert key not in stored_keys(service)
    assert service.store.act_now(meet, SOMEBODY, add(key)) == key


def test_a_group_that_could_not_be_committed_holds_back_none_after_it(service: Service) -> None:
    """SQLite keeps a connection, and with it the lock, for as long as somebody holds a cursor of it
    that was not read to its end: as what an error remembers may do until it is collected.
    """
    meet, key = MeetId(new_id()), f"never {new_id()}"
    held: list[Any] = []

    def leave_unread(unit: Unit) -> Done[str]:
        cursor = unit.conn.connection.cursor()
        cursor.execute("SELECT 1 UNION ALL SELECT 2")
        cursor.fetchone()
        held.append(cursor)
        return add(key)(unit)

    writing = service.store.engines.writing

    def refuse(_conn: object) -> None:
        raise OSError("the disk is gone")

    event.listen(writing, "commit", refuse)
    try:
        with pytest.raises(Unavailable, match="not known"):
            service.store.act_now(meet, SOMEBODY, leave_unread)
    finally:
        event.remove(writing, "commit", refuse)
    assert service.store.act_now(meet, SOMEBODY, add(key)) == key
    assert held


def test_that_nothing_was_changed_is_said_only_where_that_is_known(service: Service) -> None:
    """The database may fall once it is asked to commit, and have kept all: then nobody knows."""
    meet, key = MeetId(new_id()), f"never {new_id()}"

    gone = OperationalError("the database is gone", {}, OSError())
    with pytest.raises(Unavailable, match="Nothing was changed; send it again"):
        service.store.act_now(meet, SOMEBODY, add(key, fails=gone))
    assert key not in stored_keys(service)

    def keep_and_fall(conn: Connection) -> None:
        conn.connection.dbapi_connection.commit()
        raise OSError("the database is gone")

    writing = service.store.engines.writing
    event.listen(writing, "commit", keep_and_fall)
    try:
        with pytest.raises(Unavailable, match="not known"):
            service.store.act_now(meet, SOMEBODY, add(key))
    finally:
        event.remove(writing, "commit", keep_and_fall)
    assert key in stored_keys(service)


def test_nobody_is_told_refused_either_when_what_that_rested_on_was_not_stored(
    service: Service,
) -> None:
    """The second action is refused because of the first, and the group is not committed."""
    meet, key = MeetId(new_id()), f"never {new_id()}"
    writing = service.store.engines.writing

    def insist_new(unit: Unit) -> Done[str]:
        if unit.conn.execute(select(tries.c.key).where(tries.c.key == key)).first():
            raise IdTaken("something", key)
        return add(key)(unit)

    async def both() -> list[object]:
        work = [service.store.act(meet, SOMEBODY, act) for act in (add(key), insist_new)]
        return await asyncio.gather(*work, return_exceptions=True)

    def refuse(_conn: object) -> None:
        raise OSError("the disk is gone")

    event.listen(writing, "commit", refuse)
    try:
        outcomes = asyncio.run(both())
    finally:
        event.remove(writing, "commit", refuse)
    assert [type(outcome) for outcome in outcomes] == [Unavailable, Unavailable]
    assert key not in stored_keys(service)


@pytest.mark.parametrize("nth", range(1, 12))
def test_whichever_statement_of_a_report_fails_nothing_of_it_is_stored(
    meet: MeetAtHand, nth: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.builders import a_report

    before = meet.referee.get("record/head").json()
    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    seen: list[Compiled] = []
    bind = Compiled._bind

    def fail_the_nth(self: Compiled, values: Values) -> dict[str, Any]:
        if threading.current_thread().name == "writer":
            if self not in seen:
                seen.append(self)
            if seen.index(self) + 1 == nth:  # also when the group is run again
                raise RuntimeError("this statement failed")
        return bind(self, values)

    monkeypatch.setattr(Compiled, "_bind", fail_the_nth)
    answer = meet.umpire.put(f"reports/{report}", sent)
    monkeypatch.undo()
    if len(seen) < nth:
        assert answer.status_code == 201
        return
    assert answer.status_code in {500, 503}, answer.text
    assert meet.referee.get("record/head").json() == before
    assert meet.referee.get("docket").json()["open"] == 0
    assert meet.umpire.put(f"reports/{report}", sent).status_code == 201


def test_fifty_threads_with_one_id_store_one_report(meet: MeetAtHand) -> None:
    from tests.builders import a_report

    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    with ThreadPoolExecutor(50) as pool:
        answers = list(pool.map(lambda _n: meet.umpire.put(f"reports/{report}", sent), range(50)))
    assert sorted(answer.status_code for answer in answers) == [200] * 49 + [201]
    assert len({answer.json()["case"] for answer in answers}) == 1
    assert len(meet.umpire.get("reports").json()) == 1


def test_sqlite_syncs_every_commit_and_readers_cannot_write(tmp_path: Path) -> None:
    engines = open_engines(f"sqlite:///{tmp_path / 'a.db'}")
    with engines.writing.connect() as conn:
        assert conn.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert conn.execute(text("PRAGMA synchronous")).scalar() == 2  # FULL
        assert conn.execute(text("PRAGMA foreign_keys")).scalar() == 1
    with engines.reading.connect() as conn, pytest.raises(Exception, match="readonly"):
        conn.execute(text("CREATE TABLE a_table (id integer)"))
    engines.dispose()


def test_a_second_process_on_one_sqlite_file_is_refused(tmp_path: Path) -> None:
    engines = open_engines(f"sqlite:///{tmp_path / 'a.db'}")
    with (
        only_process(engines.url),
        pytest.raises(Unavailable, match="Another process"),
        only_process(engines.url),
    ):
        pass
    engines.dispose()


def test_a_database_and_a_link_to_it_have_one_lock(tmp_path: Path) -> None:
    database, link = tmp_path / "a.db", tmp_path / "elsewhere" / "link.db"
    link.parent.mkdir()
    link.symlink_to(database)
    urls = [make_url(f"sqlite:///{path}") for path in (database, link)]
    for first, second in (urls, urls[::-1]):
        with (
            only_process(first),
            pytest.raises(Unavailable, match="Another process"),
            only_process(second),
        ):
            pass


def test_a_link_to_no_database_yet_gives_one_that_only_its_owner_reads(tmp_path: Path) -> None:
    database, link = tmp_path / "a.db", tmp_path / "link.db"
    link.symlink_to(database)
    before = os.umask(0)
    try:
        engines = open_engines(f"sqlite:///{link}")
        with engines.writing.begin() as conn:
            conn.execute(text("CREATE TABLE a_table (id integer)"))
            modes = {path.name: path.stat().st_mode & 0o777 for path in tmp_path.glob("a.db*")}
        engines.dispose()
    finally:
        os.umask(before)
    assert modes.keys() >= {"a.db", "a.db-wal"}
    assert set(modes.values()) == {0o600}, modes


@pytest.mark.parametrize("url", ["mysql://x/y", "sqlite://", "sqlite:///:memory:"])
def test_other_databases_are_refused_with_what_works(url: str) -> None:
    with pytest.raises(ValueError, match="sqlite:///"):
        open_engines(url)


def test_a_stopped_store_takes_no_more_work(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'a.db'}", SystemClock(), Keeper())
    store.start()
    store.stop()
    with pytest.raises(Unavailable, match="shutting down"):
        store.act_now(MeetId(new_id()), SOMEBODY, add("late"))


def test_a_store_without_tables_says_unavailable_and_stays_up(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'a.db'}", SystemClock(), Keeper())
    store.start()
    for _ in range(2):
        with pytest.raises(Unavailable):
            store.act_now(MeetId(new_id()), SOMEBODY, add("nowhere"))
    store.stop()


@given(st.text(min_size=1, max_size=80).filter(lambda text: "\x00" not in text))
def test_refusals_say_something_and_carry_their_facts(words: str) -> None:
    refusal = Refusal(words, field="/here", number=3)
    assert refusal.detail == str(refusal) == words
    assert refusal.facts == {"number": 3}


def test_a_copy_of_the_write_ahead_log_cut_anywhere_holds_whole_acts_only(
    tmp_path: Path,
) -> None:
    """The way SQLite's own crash tests cut a log (sqlite.org, test/crash*.test), at every part."""
    import random
    import shutil

    from app.serving import bring_up_to_date

    path = tmp_path / "live.db"
    bring_up_to_date(f"sqlite:///{path}")
    store = Store(f"sqlite:///{path}", SystemClock(), Keeper())
    store.start()
    meet = MeetId(new_id())
    for number in range(30):
        store.act_now(meet, SOMEBODY, add(f"act {number}"))
    wal = path.with_name("live.db-wal").read_bytes()
    chance = random.Random(7)
    for attempt in range(25):
        folder = tmp_path / str(attempt)
        folder.mkdir()
        shutil.copy(path, folder / "cut.db")
        (folder / "cut.db-wal").write_bytes(wal[: chance.randrange(len(wal))])
        with sqlite3.connect(folder / "cut.db") as copy:
            assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            kept = copy.execute("SELECT count(*) FROM tries").fetchone()[0]
            entries = copy.execute("SELECT count(*) FROM record_entries").fetchone()[0]
            head = copy.execute("SELECT coalesce(max(size), 0) FROM record_heads").fetchone()[0]
        copy.close()
        assert kept == entries == head
    store.stop()

"""Backups of a database that is being written to, with each engine's own means: nothing is missing
that had been answered before, and what is restored checks."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path

import httpx
import psycopg
import pytest
from sqlalchemy import Connection, func, select

from app.cli import main
from app.ids import new_id
from app.record.tables import CHECKPOINT_GUARDS, GUARDS
from app.schema import all_tables
from app.store.engine import open_engines
from tests.builders import MeetAtHand, a_meet, a_report
from tests.conftest import ENGINES, NewDatabase
from tests.pictures.photographs import a_photograph
from tests.postgres import Databases, a_tool
from tests.running import SETUP_KEY, a_service

HEATS, ENOUGH = 60, 60


@dataclass
class Load:
    """Umpires who write reports without a pause, and what was answered."""

    meet: MeetAtHand
    address: str
    answered: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    enough: threading.Event = field(default_factory=threading.Event)
    stopping: bool = False

    def write(self, name: str, lanes: range) -> None:
        person = self.meet[name]
        bearer = {"Authorization": f"Bearer {person.token}"}
        with httpx.Client(base_url=self.address, headers=bearer, timeout=30) as http:
            for heat, lane in product(self.meet.heats, lanes):
                if self.stopping:
                    return
                self._send(http, a_report(heat["id"], None, lane=lane))

    def _send(self, http: httpx.Client, document: dict[str, object]) -> None:
        report = new_id()
        answer = http.put(f"/api/meets/{self.meet.id}/reports/{report}", json=document)
        (self.answered if answer.status_code == 201 else self.refused).append(report)
        if len(self.answered) >= ENOUGH:
            self.enough.set()


@contextmanager
def pouring(meet: MeetAtHand, address: str) -> Iterator[Load]:
    """Reports pour in; the block begins once there are some."""
    load = Load(meet, address)
    shares = [("umpire", range(1, 5)), ("second", range(5, 9))]
    threads = [threading.Thread(target=load.write, args=share) for share in shares]
    for thread in threads:
        thread.start()
    try:
        assert load.enough.wait(60), (len(load.answered), load.refused[:3])
        yield load
    finally:
        load.stopping = True
        for thread in threads:
            thread.join()


@dataclass(frozen=True, slots=True)
class Served:
    """A meet with a picture and a form, served by a process of its own."""

    meet: MeetAtHand
    address: str
    url: str
    seal_folder: Path


@pytest.fixture(params=ENGINES)
def served(
    request: pytest.FixtureRequest, new_database: NewDatabase, tmp_path: Path
) -> Iterator[Served]:
    url = new_database(request.param)
    with sealing_in(tmp_path / "seal"), a_service(url) as service:
        meet = a_meet(service, heats=HEATS)
        report = meet.report(lane=3)
        address = f"reports/{report['id']}/pictures/{new_id()}"
        assert meet.umpire.put(address, content=a_photograph()).status_code == 201
        ruled = meet.rule(report["case"]).json()
    with a_process(url, tmp_path / "seal") as address:
        # A paper that is sealed has a key by then.
        form = f"{address}/api/meets/{meet.id}/rulings/{ruled['id']}/form.pdf"
        bearer = {"Authorization": f"Bearer {meet.referee.token}"}
        assert httpx.get(form, headers=bearer, timeout=30).status_code == 200
        yield Served(meet, address, url, tmp_path / "seal")


@contextmanager
def sealing_in(folder: Path) -> Iterator[None]:
    """A service that is made here has its seals where the process has them."""
    with pytest.MonkeyPatch.context() as patched:
        for name, value in seal_settings(folder).items():
            patched.setenv(name, value)
        yield


def seal_settings(folder: Path) -> Mapping[str, str]:
    return {"ZONEDOCKET_SEAL_FOLDER": str(folder), "ZONEDOCKET_SEAL_PASSPHRASE": "for tests"}


@contextmanager
def a_process(url: str, seal_folder: Path) -> Iterator[str]:
    """`serve` as a process of its own; gives its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "app", "serve", "--port", "0"],
        env=environment(url, seal_folder),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    try:
        line = next(line for line in process.stdout if line.startswith("Serving "))
        yield line.split()[1]
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def environment(url: str, seal_folder: Path) -> Mapping[str, str]:
    ours = {"DATABASE_URL": url, "ZONEDOCKET_SETUP_KEY": SETUP_KEY}
    ours |= {"ZONEDOCKET_CHANGES_A_MINUTE": str(10**9)}  # one umpire writes for a whole crew
    return {**os.environ, **ours, **seal_settings(seal_folder)}


def run(url: str, *arguments: str) -> int:
    """A command on a database."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("DATABASE_URL", url)
        return main(list(arguments))


def tool(name: str, *arguments: str) -> None:
    """One of PostgreSQL's own tools."""
    subprocess.run([*a_tool(name), *arguments], check=True, capture_output=True)


@pytest.mark.slow
def test_a_backup_taken_while_reports_pour_in_has_all_that_were_answered_before(
    served: Served, tmp_path: Path, request: pytest.FixtureRequest, capsys: pytest.CaptureFixture
) -> None:
    copy = tmp_path / "copy"
    with pouring(served.meet, served.address) as load:
        before = list(load.answered)
        back_up(served.url, copy)
        while len(load.answered) < len(before) + 20:  # it poured in all the while
            time.sleep(0.01)
    assert load.refused == []
    restored = restore(served.url, copy, tmp_path, request)
    assert run(restored, "check", "--database") == 0, capsys.readouterr().out
    engines = open_engines(restored)
    try:
        with engines.reading.connect() as conn:
            kept = reports(conn)
            assert set(before) <= kept
            assert len(kept) == entries(conn, "report written")
            assert pictures(conn) == 1
    finally:
        engines.dispose()
    holds_no_key(copy, served.seal_folder)


def back_up(url: str, copy: Path) -> None:
    if url.startswith("sqlite"):
        assert run(url, "backup", str(copy)) == 0
    else:
        tool("pg_dump", "--format=custom", f"--file={copy}", f"--dbname={url}")


def restore(url: str, copy: Path, folder: Path, request: pytest.FixtureRequest) -> str:
    """The address of another database with what the copy holds."""
    if url.startswith("sqlite"):
        again = f"sqlite:///{folder / 'again.db'}"
        assert run(again, "restore", str(copy)) == 0
        return again
    databases: Databases = request.getfixturevalue("postgres")
    again = databases.make()
    restoring = ("--exit-on-error", "--single-transaction", "--no-owner")
    tool("pg_restore", *restoring, f"--dbname={again}", str(copy))
    return again


def reports(conn: Connection) -> set[str]:
    table = all_tables().tables["reports"]
    return set(conn.execute(select(table.c.id).where(table.c.content.is_not(None))).scalars())


def entries(conn: Connection, kind: str) -> int:
    table = all_tables().tables["record_entries"]
    counted = select(func.count()).where(table.c.kind == kind)
    return int(conn.execute(counted).scalar_one())


def pictures(conn: Connection) -> int:
    """How many pictures are there with both of their files."""
    tables = all_tables().tables
    originals, copies = tables["picture_originals"], tables["picture_copies"]
    both = select(func.count()).join_from(
        originals, copies, originals.c.picture_id == copies.c.picture_id
    )
    return int(conn.execute(both).scalar_one())


def holds_no_key(copy: Path, seal_folder: Path) -> None:
    """Neither a private key nor a piece of a file of the seals' folder."""
    content = copy.read_bytes()
    assert b"PRIVATE KEY" not in content
    for path in seal_folder.rglob("*"):
        if path.is_file() and b"PRIVATE KEY" in path.read_bytes():
            middle = len(path.read_bytes()) // 2
            assert path.read_bytes()[middle : middle + 24] not in content


@pytest.fixture
def dumped(new_database: NewDatabase, tmp_path: Path) -> tuple[str, Path]:
    """A PostgreSQL database with a meet in it, and its dump."""
    url = new_database("postgresql")
    with a_service(url) as service:
        a_meet(service)
    tool("pg_dump", "--format=custom", f"--file={tmp_path / 'dump'}", f"--dbname={url}")
    return url, tmp_path / "dump"


def test_a_restored_postgresql_still_refuses_to_rewrite_its_record(
    dumped: tuple[str, Path], tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    url, copy = dumped
    again = restore(url, copy, tmp_path, request)
    for statement in (
        "UPDATE record_entries SET kind = kind",
        "DELETE FROM record_entries",
        "TRUNCATE record_entries",
        "UPDATE record_bodies SET body = body",
        "DELETE FROM checkpoints",
    ):
        with (
            psycopg.connect(again) as conn,
            pytest.raises(psycopg.errors.RaiseException, match="append-only"),
        ):
            conn.execute(statement)


def test_a_dump_goes_back_into_the_database_that_it_is_of(dumped: tuple[str, Path]) -> None:
    url, copy = dumped
    tool("pg_restore", "--clean", "--if-exists", "--exit-on-error", f"--dbname={url}", str(copy))
    assert run(url, "check", "--database") == 0


@pytest.mark.parametrize("engine", ENGINES)
def test_a_guard_that_is_missing_is_told(
    engine: str, new_database: NewDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    url = new_database(engine)
    assert run(url, "check", "--database") == 0
    engines = open_engines(url)
    for guard in (*GUARDS[engine], *CHECKPOINT_GUARDS[engine]):
        table = guard.partition("_refuse_")[0]
        on = f" ON {table}" if engine == "postgresql" else ""
        with engines.writing.begin() as conn:
            conn.exec_driver_sql(f"DROP TRIGGER {guard}{on}")
    engines.dispose()
    capsys.readouterr()
    assert run(url, "check", "--database") == 1
    out, err = capsys.readouterr()
    assert out.count("is missing") == len(GUARDS[engine]) + len(CHECKPOINT_GUARDS[engine])
    assert "do" in err
    assert "NOT agree" in err


def test_a_guard_that_was_switched_off_is_told(
    new_database: NewDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    """`pg_restore --disable-triggers`, cut off, leaves them so."""
    url = new_database("postgresql")
    with psycopg.connect(url) as conn:
        conn.execute("ALTER TABLE record_bodies DISABLE TRIGGER ALL")
    assert run(url, "check", "--database") == 1
    assert "record_bodies_refuse_update is missing" in capsys.readouterr().out


@pytest.mark.parametrize("engine", ENGINES)
def test_a_record_that_does_not_agree_is_told_with_its_meet_and_place(
    engine: str, new_database: NewDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    url = new_database(engine)
    with a_service(url) as service:
        meet, other = a_meet(service), a_meet(service)
    engines = open_engines(url)
    with engines.writing.begin() as conn:
        conn.exec_driver_sql(f"DELETE FROM record_bodies WHERE meet_id = '{meet.id}' AND seq = 2")
    engines.dispose()
    assert run(url, "check", "--database") == 1
    out = capsys.readouterr().out
    assert f"meet {meet.id}, line 2 (entry 2): what was done is missing" in out
    assert f"meet {other.id}, line" not in out


def test_checking_a_database_that_is_not_there_makes_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(f"sqlite:///{tmp_path / 'none.db'}", "check", "--database") == 1
    assert "there is no database" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []

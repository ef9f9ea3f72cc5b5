"""A disk that is full, or that can only be read: told in words, nothing lost, and well again by
itself once there is room.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import httpx
import psycopg
import pytest
from sqlalchemy import event, make_url

from app.ids import new_id
from tests.builders import MeetAtHand, a_meet, a_problem, a_report
from tests.conftest import NewDatabase
from tests.faults.own_process import (
    ALONE,
    a_meet_of,
    a_server,
    is_ready,
    on_a_small_disk,
    seen_by,
    wait_for,
)
from tests.running import Service, a_service


def fill(file: Path) -> None:
    """Take all the room there is."""
    with suppress(OSError), file.open("wb", buffering=0) as filler:
        while True:
            filler.write(bytes(4096))
    assert os.statvfs(file.parent).f_bavail == 0


def is_refused(answer: httpx.Response, cause: str) -> None:
    told = a_problem(answer, 503, "unavailable")["detail"]
    assert cause in told
    assert "Nothing was changed; send it again." in told
    assert int(answer.headers["retry-after"]) > 0


def test_on_a_full_disk_reports_are_refused_read_on_and_taken_again_once_there_is_room(
    new_database: NewDatabase, tmp_path: Path
) -> None:
    """A real disk of 4 MiB, so that it is full in a moment."""
    database, folder = Path(str(make_url(new_database("sqlite")).database)), tmp_path / "small"
    folder.mkdir()
    meet = a_meet_of(f"sqlite:///{database}")
    command = on_a_small_disk(folder, database, 4)
    with a_server(f"sqlite:///{folder / database.name}", meet, command) as server:
        kept = {str(server.report().json()["id"]) for _ in range(3)}
        filler = seen_by(server.pid, folder) / "filler"
        fill(filler)
        late = new_id()
        for _ in range(3):
            is_refused(server.report(late), "its disk is full")
        why = wait_for(server.http, lambda answer: not is_ready(answer))
        assert "its disk is full" in a_problem(why, 503, "unavailable")["detail"]
        assert server.http.get("/healthz").status_code == 200
        assert server.reports() == kept
        filler.unlink()
        assert server.report(late).status_code == 201
        wait_for(server.http, is_ready)
        assert server.reports() == {*kept, late}


def test_a_server_on_a_disk_that_can_only_be_read_says_so_and_ends(
    new_database: NewDatabase, tmp_path: Path
) -> None:
    database, folder = Path(str(make_url(new_database("sqlite")).database)), tmp_path / "small"
    folder.mkdir()
    mount = f"mount -t tmpfs tmpfs {folder} && cp {database} {folder}/"
    mount += f" && mount -o remount,ro {folder}"
    seal = {"ZONEDOCKET_SEAL_FOLDER": str(folder / "seal"), "ZONEDOCKET_SEAL_PASSPHRASE": "words"}
    ended = subprocess.run(
        [*ALONE, "sh", "-c", f"{mount} && exec {sys.executable} -m app serve --port 0"],
        env=os.environ | seal | {"DATABASE_URL": f"sqlite:///{folder / database.name}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 1
    assert "Read-only file system" in ended.stderr
    assert "Traceback" not in ended.stderr


@contextmanager
def read_only_sqlite(service: Service) -> Iterator[None]:
    """Files' rights do not bind root, so the connections refuse it, by SQLite's own code for it."""

    def refuse_writes(connection: object, _record: object) -> None:
        connection.execute("PRAGMA query_only=ON")  # type: ignore[attr-defined]

    writing = service.store.engines.writing
    event.listen(writing, "connect", refuse_writes)
    writing.pool.dispose()
    service.store._writer._give_up_connection()
    yield
    event.remove(writing, "connect", refuse_writes)


@contextmanager
def read_only_postgresql(service: Service) -> Iterator[None]:
    """As after a server was made a copy of another one: it breaks all lines, and takes no more."""
    with psycopg.connect(service.database_url, autocommit=True) as line:
        line.execute("SET default_transaction_read_only = off")
        name = line.info.dbname
        change = f'ALTER DATABASE "{name}" SET default_transaction_read_only'
        end = (
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        line.execute(f"{change} = on")  # type: ignore[call-overload]
        line.execute(end)
        yield
        line.execute(f"{change} = off")  # type: ignore[call-overload]
        line.execute(end)


@contextmanager
def full_postgresql(service: Service) -> Iterator[None]:
    """A disk that PostgreSQL shares with nobody is hard to fill: what it says then (PostgreSQL,
    appendix A, 53100) is said by a trigger instead.
    """
    with psycopg.connect(service.database_url, autocommit=True) as line:
        line.execute(
            "CREATE FUNCTION no_room() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'no room' USING ERRCODE = '53100'; END $$"
        )
        for table in ("record_heads", "reports"):
            line.execute(
                f"CREATE TRIGGER no_room BEFORE INSERT ON {table} "  # type: ignore[call-overload]
                "FOR EACH ROW EXECUTE FUNCTION no_room()"
            )
        yield
        line.execute("DROP FUNCTION no_room CASCADE")


SPOILT = [
    ("sqlite", read_only_sqlite, "it is read-only"),
    ("postgresql", read_only_postgresql, "it is read-only"),
    ("postgresql", full_postgresql, "its disk is full"),
]


@pytest.mark.parametrize(("engine", "spoil", "cause"), SPOILT)
def test_a_database_that_takes_nothing_is_told_and_taken_up_again_by_itself(
    new_database: NewDatabase, engine: str, spoil: Callable[..., object], cause: str
) -> None:
    with a_service(new_database(engine)) as service:
        meet: MeetAtHand = a_meet(service)
        report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
        before = meet.head()
        with spoil(service):  # type: ignore[attr-defined]
            # The first one may meet a line that is broken already.
            refused = [meet.umpire.put(f"reports/{report}", sent) for _ in range(3)][-1]
            is_refused(refused, cause)
            why = a_problem(service.http.get("/readyz"), 503, "unavailable")
            assert cause in why["detail"]
            assert meet.head() == before
        wait_for(service.http, is_ready)
        assert meet.umpire.put(f"reports/{report}", sent).status_code == 201

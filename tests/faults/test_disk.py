"""A report is on the disk before its answer goes out, as the system calls of a real server show.

Calls are followed with strace; which of them matter for SQLite is told by sqlite.org, wal.html and
pragma.html (synchronous=FULL): the write-ahead log is synced after each transaction.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx
import psycopg
import pytest

from app.ids import new_id
from tests.bench.servers import SERVICE, some_processes
from tests.builders import MeetAtHand, a_meet, a_report
from tests.conftest import NewDatabase
from tests.running import a_service

CALLS = "fdatasync,fsync,pwrite64,write,writev,sendto,sendmsg"
TIMES_LOOKED = 200


@contextmanager
def followed(database_url: str, trace: Path) -> Iterator[httpx.Client]:
    """A server in a process of its own whose calls are written down as they are made."""
    strace = ("strace", "-f", "-y", "-qq", "--seccomp-bpf", "-s", "32", "-o", str(trace))
    command = (*strace, "-e", f"trace={CALLS}", *SERVICE)
    with some_processes((command, database_url)) as (running,), httpx.Client(timeout=30) as http:
        http.base_url = httpx.URL(running.address)
        children = Path(f"/proc/{running.pid}/task/{running.pid}/children").read_text().split()
        try:
            yield http
        finally:
            # It ends with the server; told to end itself, it would wait for that for ever.
            os.kill(int(children[0]), signal.SIGTERM)


def calls_since(trace: Path, place: int, until: Callable[[str], bool]) -> list[str]:
    """The calls written down after a place, once one of them is the one that is awaited."""
    for _ in range(TIMES_LOOKED):
        calls = trace.read_text(errors="replace")[place:].splitlines()
        if any(until(call) for call in calls):
            return calls
        time.sleep(0.05)
    raise AssertionError(f"it was not called: {calls}")


def is_answer(call: str) -> bool:
    return "HTTP/1.1 201" in call


def test_the_write_ahead_log_is_synced_before_a_report_is_answered(
    new_database: NewDatabase, tmp_path: Path
) -> None:
    url, trace = new_database("sqlite"), tmp_path / "calls"
    meet = a_meet_of(url)
    with followed(url, trace) as http:
        umpire = replace(meet.umpire, http=http)
        assert umpire.get("/api/me").status_code == 200
        for _ in range(3):  # the first one begins the log, and syncs its folder too
            place = len(trace.read_text(errors="replace"))
            sent = a_report(meet.heat(), meet.posts["umpire"])
            assert umpire.put(f"reports/{new_id()}", sent).status_code == 201
            calls = calls_since(trace, place, is_answer)
            answered = next(place for place, call in enumerate(calls) if is_answer(call))
            log = [place for place, call in enumerate(calls) if "-wal>" in call and " = " in call]
            written = [place for place in log if "pwrite64(" in calls[place]]
            synced = [place for place in log if "sync" in calls[place]]
            assert calls[synced[-1]].endswith("= 0")
            assert written[-1] < synced[-1] < answered, calls


def a_meet_of(database_url: str) -> MeetAtHand:
    """A meet that was made before the server begins which is looked at."""
    with a_service(database_url) as service:
        return a_meet(service)


@pytest.mark.parametrize("kept", ["on", "off"])
def test_readiness_warns_of_a_postgresql_that_answers_before_it_has_stored(
    new_database: NewDatabase, kept: str
) -> None:
    """PostgreSQL's manual, 20.5: each of the three can lose what was committed, or the database."""
    url = new_database("postgresql")
    with psycopg.connect(url, autocommit=True) as line:
        name = line.info.dbname
        line.execute(f'ALTER DATABASE "{name}" SET synchronous_commit = {kept}')  # type: ignore[call-overload]
    with psycopg.connect(url) as line:
        asked = ("fsync", "full_page_writes", "synchronous_commit")
        told = {name: line.execute(f"SHOW {name}").fetchone() for name in asked}  # type: ignore[call-overload]
    assert told["synchronous_commit"] == (kept,)
    with a_service(url) as service:
        ready = service.http.get("/readyz")
    assert ready.status_code == 200
    warnings = ready.json()["warnings"]
    off = {name for name, value in told.items() if value == ("off",)}
    assert {name for name in asked for words in warnings if f" {name} = off:" in words} == off
    assert len(warnings) == len(off)


def test_sqlite_is_ready_without_a_warning(new_database: NewDatabase) -> None:
    with a_service(new_database("sqlite")) as service:
        ready = service.http.get("/readyz").json()
    assert (ready["status"], ready["warnings"]) == ("ready", [])

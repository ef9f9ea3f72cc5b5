"""A process that gets no more memory: it says so and loses nothing, calls nothing that was sent
wrong, and goes on by itself once there is some. Where not even the interpreter gets any the system
ends it, as it ends it when the whole machine has none: that is a kill.

The limit is on what it may write to (setrlimit(2), RLIMIT_DATA), a little above what the server has
when it is set, and taken away while it runs.
"""

from __future__ import annotations

import resource
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from argon2.exceptions import HashingError, VerificationError
from starlette.requests import Request

from app.access import secrets
from app.connections import Connection
from app.ids import new_id
from tests.builders import Json, Person, a_meet, a_problem, a_ruling
from tests.conftest import NewDatabase
from tests.faults.own_process import a_meet_of, a_server, is_ready, wait_for
from tests.people import PIN
from tests.running import Service

MEBIBYTE = 1024 * 1024


@contextmanager
def no_memory_for(pid: int, spare: int) -> Iterator[None]:
    """Leave a process so many bytes more than it has."""
    status = Path(f"/proc/{pid}/status").read_text().splitlines()
    has = next(int(line.split()[1]) for line in status if line.startswith("VmData")) * 1024
    _, most = resource.prlimit(pid, resource.RLIMIT_DATA)
    resource.prlimit(pid, resource.RLIMIT_DATA, (has + spare, most))
    yield
    resource.prlimit(pid, resource.RLIMIT_DATA, (most, most))


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_what_needs_more_memory_than_there_is_can_be_sent_again_and_the_rest_goes_on(
    new_database: NewDatabase, engine: str
) -> None:
    """A phone gives up what was refused with a 4xx, and keeps what is to be sent again. To look at
    a PIN takes 19 MiB.
    """
    url = new_database(engine)
    meet = a_meet_of(url)
    with a_server(url, meet) as server, ThreadPoolExecutor(8) as crowd:
        kept = {server.report().json()["id"]}
        joining = a_joining(server.organiser)
        # Threads that have begun need no further room to begin in.
        list(crowd.map(lambda _: server.http.get("/readyz"), range(24)))
        with no_memory_for(server.pid, 12 * MEBIBYTE):
            for _ in range(3):
                answer = server.http.post("/api/join", json=joining)
                assert "again" in a_problem(answer, 503, "unavailable")["detail"]
                assert int(answer.headers["retry-after"]) > 0
                kept.add(server.report().json()["id"])
            assert server.http.get("/healthz").status_code == 200
        assert server.reports() == kept
        assert server.http.post("/api/join", json=joining).status_code == 200
        wait_for(server.http, is_ready)
        record = server.referee.get("record").text
    assert len(kept) == 4
    assert "PIN refused" not in record


def a_joining(organiser: Person) -> Json:
    """Somebody new, who has a personal link and chooses a PIN."""
    official = f"officials/{new_id()}"
    named = {"name": "Nora Newcomer", "affiliation": "", "roles": ["umpire"]}
    assert organiser.put(official, named).status_code == 201
    link = organiser.put(f"{official}/join-links/{new_id()}").json()
    return {"token": link["token"], "session": new_id(), "pin": PIN}


class WithoutMemory:
    """As the library says it (argon2, error code -22)."""

    def hash(self, _pin: str) -> str:
        raise HashingError("Memory allocation error")

    def verify(self, _hash: str, _pin: str) -> bool:
        raise VerificationError("Memory allocation error")


def test_a_right_pin_that_could_not_be_looked_at_is_not_called_wrong(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It would stand in the record as somebody's try to sign as another, and count."""
    known = secrets.hash_pin(PIN)
    monkeypatch.setattr(secrets, "_hasher", WithoutMemory())
    with pytest.raises(MemoryError):
        secrets.pin_matches(known, PIN)
    with pytest.raises(MemoryError):
        secrets.hash_pin(PIN)


def test_a_body_that_could_not_be_read_for_want_of_memory_is_not_called_wrong(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The framework calls whatever its reader raises a body that cannot be read, and the server's
    parser whatever is raised below it a request that is no HTTP.
    """
    meet = a_meet(service)
    sent = a_ruling()
    case = meet.report()["case"]
    address, etag = (
        f"cases/{case}/rulings/{new_id()}",
        meet.referee.get(f"cases/{case}").headers["ETag"],
    )

    def fail(*_arguments: object) -> None:
        raise MemoryError

    for owner, name in ((Request, "body"), (Connection, "on_body")):
        with monkeypatch.context() as spoilt, httpx.Client(base_url=service.address) as anew:
            spoilt.setattr(owner, name, fail)  # a line knows its parts from its beginning
            answer = replace(meet.referee, http=anew).put(address, sent, etag=etag)
        assert "again" in a_problem(answer, 503, "unavailable")["detail"], name
    assert meet.referee.put(address, sent, etag=etag).status_code == 201

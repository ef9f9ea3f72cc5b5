"""A PostgreSQL that is gone for a while, and comes back: told in words, nothing lost, and the same
processes go on by themselves.

The while is a second or two here; what takes time in earnest is only that somebody starts it again.
It is gone as from behind a switched-off line: a relay between the service and the server is closed.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from sqlalchemy import make_url

from app.ids import new_id
from tests.builders import MeetAtHand, a_meet, a_problem, a_report
from tests.conftest import NewDatabase
from tests.faults.own_process import is_ready, wait_for
from tests.running import Service, a_service


class Relay:
    """Passes on what comes on a socket to the server, until it is taken away."""

    def __init__(self, socket_of_server: Path, folder: Path) -> None:
        self._server = str(socket_of_server)
        self._here = folder / socket_of_server.name
        self._lines: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self.hold_answer_to = b""
        self.put_back()

    def put_back(self) -> None:
        self._listener = socket.socket(socket.AF_UNIX)
        self._listener.bind(str(self._here))
        self._listener.listen(64)
        self._begin(self._accept, self._listener)

    def take_away(self) -> None:
        """All lines break, and no new one is taken."""
        self._here.unlink()
        for line in (self._listener, *self._lines):
            _break(line)
        for thread in self._threads:
            thread.join(10)
        self._lines, self._threads = [], []

    def _begin(self, work: Callable[..., None], *arguments: object) -> threading.Thread:
        thread = threading.Thread(target=work, args=arguments, daemon=True)
        self._threads.append(thread)
        thread.start()
        return thread

    def _accept(self, listener: socket.socket) -> None:
        with suppress(OSError), listener:
            while True:
                self._begin(self._join, listener.accept()[0])

    def _join(self, client: socket.socket) -> None:
        with client, socket.socket(socket.AF_UNIX) as server:
            server.connect(self._server)
            self._lines += [client, server]
            answers = self._begin(_pass_on, server, client)
            for asked in _heard(client):
                is_held = bool(self.hold_answer_to) and self.hold_answer_to in asked
                if is_held:  # the server gets the word, and its answer finds nobody
                    _break(client)
                with suppress(OSError):
                    server.sendall(asked)
                if is_held:
                    break
            _break(client)
            _break(server)
            answers.join(10)


def _pass_on(one: socket.socket, other: socket.socket) -> None:
    for data in _heard(one):
        with suppress(OSError):
            other.sendall(data)
    _break(other)


def _heard(line: socket.socket) -> Iterator[bytes]:
    with suppress(OSError):
        while data := line.recv(65_536):
            yield data


def _break(line: socket.socket) -> None:
    with suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)


@contextmanager
def behind_a_relay(database_url: str, folder: Path) -> Iterator[tuple[Service, Relay]]:
    url = make_url(database_url)
    host, port = url.query["host"], url.query.get("port", "5432")
    relay = Relay(Path(str(host)) / f".s.PGSQL.{port}", folder)
    here = url.update_query_dict({"host": str(folder), "port": str(port)})
    address = here.render_as_string(hide_password=False)
    try:
        with a_service(address) as service:
            yield service, relay
    finally:
        relay.take_away()


@pytest.fixture
def relayed(new_database: NewDatabase, tmp_path: Path) -> Iterator[tuple[Service, Relay]]:
    database_url = new_database("postgresql")
    if "host" not in make_url(database_url).query:
        pytest.fail("this needs a PostgreSQL that is reached by a socket in a folder")
    with behind_a_relay(database_url, tmp_path) as both:
        yield both


def send(meet: MeetAtHand, report: str) -> int:
    sent = a_report(meet.heat(), meet.posts["umpire"], clock=CLOCK)
    return meet.umpire.put(f"reports/{report}", sent).status_code


CLOCK = {"at": "2026-06-13T12:03:22Z", "offset_ms": 0, "error_ms": 20}


def test_a_database_that_is_gone_for_a_while_is_told_and_taken_up_again_by_itself(
    relayed: tuple[Service, Relay],
) -> None:
    service, relay = relayed
    meet = a_meet(service)
    early, late = new_id(), new_id()
    assert send(meet, early) == 201
    relay.take_away()
    sent = a_report(meet.heat(), meet.posts["umpire"], clock=CLOCK)
    for answer in (
        meet.umpire.put(f"reports/{late}", sent),
        meet.umpire.get(f"reports/{early}"),
        meet.umpire.put(f"reports/{late}", sent),
        service.http.get("/readyz"),
    ):
        told = a_problem(answer, 503, "unavailable")
        assert "its server cannot be reached" in told["detail"], told
        assert int(answer.headers["retry-after"]) > 0
    assert service.http.get("/healthz").status_code == 200
    relay.put_back()
    wait_for(service.http, is_ready)
    assert send(meet, late) == 201
    assert send(meet, early) == 200
    assert {one["id"] for one in meet.umpire.get("reports").json()} == {early, late}


def test_what_is_sent_first_after_the_database_was_started_again_is_stored(
    relayed: tuple[Service, Relay],
) -> None:
    """Nobody sent meanwhile, so nobody found out that all lines had broken."""
    service, relay = relayed
    meet = a_meet(service)
    assert send(meet, new_id()) == 201
    relay.take_away()
    relay.put_back()
    assert meet.call("white").status_code == 201
    assert send(meet, new_id()) == 201


def test_followers_of_the_record_hear_again_after_the_database_was_gone(
    relayed: tuple[Service, Relay], new_database: NewDatabase
) -> None:
    service, relay = relayed
    meet = a_meet(service)
    relay.take_away()
    assert send(meet, new_id()) == 503
    relay.put_back()
    wait_for(service.http, is_ready)
    report, size = new_id(), meet.head()["size"]
    headers = {"Authorization": f"Bearer {meet.referee.token}", "Last-Event-ID": str(size)}
    with service.http.stream("GET", f"/api/meets/{meet.id}/feed", headers=headers) as feed:
        assert send(meet, report) == 201
        assert any(report in line for line in feed.iter_lines())


def test_where_the_line_breaks_at_a_commit_nobody_is_told_that_nothing_was_changed(
    relayed: tuple[Service, Relay],
) -> None:
    """It was committed, and the word of it was lost: only sending it again can tell."""
    service, relay = relayed
    meet, report = a_meet(service), new_id()
    relay.hold_answer_to = b"COMMIT"
    sent = a_report(meet.heat(), meet.posts["umpire"], clock=CLOCK)
    told = a_problem(meet.umpire.put(f"reports/{report}", sent), 503, "unavailable")
    relay.hold_answer_to = b""
    assert "Nothing was changed" not in told["detail"]
    assert "Send it again; it is kept once." in told["detail"]
    # Kept, or not yet: the same again is one report in any case.
    assert send(meet, report) in {200, 201}
    assert [one["id"] for one in meet.umpire.get("reports").json()] == [report]

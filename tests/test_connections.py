"""What a connection may take up: heads, time and numbers have bounds, and nobody else waits.

HTTP/1.1 is RFC 9112; 431 is RFC 6585, 5; 408 is RFC 9110, 15.5.9. The bounds are our own.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import httpx
import pytest

from app.config import Settings
from app.connections import FILES_FOR_OTHERS, Connection, HeadWithBody, most_connections
from app.ids import new_id
from app.record.feed import Feed
from app.serving import MS_UNTIL_LOST, listen
from tests.builders import a_meet, a_report
from tests.conftest import NewDatabase
from tests.running import Service, a_service

HOST = b"Host: here\r\n"


class Hasty(Connection):
    """The same bounds, in times and numbers that a test can wait for."""

    seconds_for_head = 0.4
    seconds_for_body = 0.6
    seconds_for_reader = 0.5
    look_every = 0.05
    most = 12


@pytest.fixture(scope="module")
def service(new_database: NewDatabase) -> Iterator[Service]:
    with a_service(new_database("sqlite"), Hasty) as hasty:
        yield hasty


@pytest.fixture(autouse=True)
def close_idle_lines(service: Service) -> Iterator[None]:
    yield
    service.http.close()
    service.http = httpx.Client(base_url=service.address, timeout=30)


def line_to(service: Service) -> socket.socket:
    host, port = service.address.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=5)


def all_of(line: socket.socket) -> bytes:
    """What the server sends until it closes; nothing but that ends this in time."""
    came = b""
    try:
        while part := line.recv(65_536):
            came += part
    except ConnectionResetError:  # it closed while more was on its way to it
        pass
    return came


def ask(service: Service, *pieces: bytes) -> bytes:
    """Send pieces until the server closes the connection, and return what it said."""
    with line_to(service) as line:
        try:
            for piece in pieces:
                line.sendall(piece)
        except (BrokenPipeError, ConnectionResetError):
            pass
        return all_of(line)


def the_problem(answer: bytes, status: int, slug: str) -> str:
    head, _, body = answer.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 %d " % status), head
    assert b"content-type: application/problem+json" in head.lower()
    assert b"connection: close" in head.lower()
    told = json.loads(body)
    assert told["type"] == f"/problems/{slug}"
    assert told["detail"].endswith(".")
    return str(told["detail"])


@pytest.mark.parametrize(
    "head",
    [
        b"GET /healthz HTTP/1.1\r\nX-A: " + b"a" * 5_000_000 + b"\r\n\r\n",
        b"GET /healthz HTTP/1.1\r\n" + b"X-A: a\r\n" * 20_000 + b"\r\n",
        b"GET /healthz HTTP/1.1\r\nX-A: " + b"a" * Hasty.largest_head + b"\r\n\r\n",
        b"GET /healthz HTTP/1.1\r\n" + b"X-A: a\r\n" * (Hasty.largest_head // 8) + b"\r\n",
        b"GET /healthz?" + b"a" * 100_000 + b" HTTP/1.1\r\n\r\n",
        b"\r\n" * 20_000,
    ],
    ids=["long", "many", "a little too long", "a little too many", "address", "blank"],
)
def test_a_head_that_is_too_large_is_refused(service: Service, head: bytes) -> None:
    the_problem(ask(service, head), 431, "head-too-large")


def test_a_header_without_end_is_cut_off_and_delays_nobody(service: Service) -> None:
    """By this process's own time, in which the server runs too: what else the machine does is not
    the header's fault.
    """
    sent, longest = 0, 0.0
    with line_to(service) as line, httpx.Client(base_url=service.address) as other:
        line.sendall(b"GET /healthz HTTP/1.1\r\nX-A: ")
        try:
            while sent < 50 * 1024 * 1024:
                sent += line.send(b"a" * 65_536)
                began = time.process_time()
                assert other.get("/healthz").status_code == 200
                longest = max(longest, time.process_time() - began)
        except (BrokenPipeError, ConnectionResetError):
            pass
    assert sent < 16 * 1024 * 1024  # what the system's own buffers may hold
    assert longest < 0.5


def test_an_answer_goes_over_the_line_in_one_piece_and_a_feed_begins_before_its_first_entry() -> (
    None
):
    loop, went = asyncio.new_event_loop(), list[bytes]()
    transport = cast(asyncio.Transport, SimpleNamespace(write=went.append, close=lambda: None))
    line = HeadWithBody(transport, loop)
    line.write(b"HTTP/1.1 200 OK\r\n\r\n")
    line.write(b"all")
    line.write(b" of it")
    assert went == [b"HTTP/1.1 200 OK\r\n\r\nall", b" of it"]
    line.write(b"HTTP/1.1 204 No Content\r\n\r\n")
    assert len(went) == 2
    loop.run_until_complete(asyncio.sleep(0))
    assert went[2:] == [b"HTTP/1.1 204 No Content\r\n\r\n"]
    line.write(b"HTTP/1.1 408 Request Timeout\r\n\r\n")
    line.close()
    loop.run_until_complete(asyncio.sleep(0))
    assert went[3:] == [b"HTTP/1.1 408 Request Timeout\r\n\r\n"]
    loop.close()


def test_trailers_without_end_are_cut_off(service: Service) -> None:
    """RFC 9112, 7.1.2: a chunked body may end with headers."""
    head = b"PUT /api/meets/x HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\n\r\n"
    body = b"2\r\n{}\r\n0\r\n"
    with line_to(service) as line:
        line.sendall(head + body)
        try:
            for _ in range(1000):
                line.sendall(b"X-A: " + b"a" * 60_000 + b"\r\n")
        except (BrokenPipeError, ConnectionResetError):
            return
    pytest.fail("60 MB of trailers were taken")


def test_a_head_as_large_as_it_may_be_is_answered_and_so_is_a_large_body(
    service: Service,
) -> None:
    headers = {f"X-{number}": "a" * 1000 for number in range(15)}
    assert service.http.get("/healthz", headers=headers).status_code == 200
    meet = a_meet(service)
    rows = [f"Women 4x100 m,heats,{heat},4,Tern {heat}" for heat in range(20_000)]
    sent = "\n".join(["event,round,heat,lane,team", *rows])
    assert len(sent) > 20 * Hasty.largest_head
    looked = meet.organiser.post("start-lists", content=sent, params={"check": "true"})
    assert looked.status_code == 200
    assert looked.json()["heats"] > 0


@pytest.mark.parametrize("begun", [b"", b"G", b"GET /healthz HTTP/1.1\r\nX-A: a"])
def test_a_head_that_does_not_come_to_its_end_is_given_up(service: Service, begun: bytes) -> None:
    began = time.perf_counter()
    the_problem(ask(service, begun), 408, "too-slow")
    assert Hasty.seconds_for_head <= time.perf_counter() - began < 2


@pytest.mark.parametrize(
    "path", ["/healthz", "/api/join", "/api/meets/{id}/calls/{id}", "/nothing"]
)
def test_a_body_that_does_not_come_to_its_end_is_given_up(
    service: Service, path: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Also where it is trickling in, and where nobody waits for it: the answer has gone out."""
    address = path.format(id=new_id()).encode()
    method = b"PUT" if b"calls" in address else b"POST"
    head = method + b" " + address + b" HTTP/1.1\r\n" + HOST
    head += b"Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n"
    began = time.perf_counter()
    with line_to(service) as line, caplog.at_level(logging.WARNING):
        line.sendall(head)
        line.settimeout(0.1)
        came = b""
        while time.perf_counter() - began < 5:
            try:
                line.sendall(b" ")
                if not (part := line.recv(65_536)):
                    break
                came += part
            except TimeoutError:
                continue
            except (BrokenPipeError, ConnectionResetError):
                break
    assert time.perf_counter() - began < 3
    assert came.count(b"HTTP/1.1 ") == 1
    if path in {"/api/join", "/api/meets/{id}/calls/{id}"}:
        the_problem(came, 408, "too-slow")
    assert not caplog.records


def test_a_line_that_was_used_and_then_only_drips_is_given_up(service: Service) -> None:
    with line_to(service) as line:
        line.sendall(b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n")
        began = time.perf_counter()
        try:
            while time.perf_counter() - began < 5:
                line.sendall(b"\r\n")
                time.sleep(0.05)
        except (BrokenPipeError, ConnectionResetError):
            pass
        assert time.perf_counter() - began < 3


def test_requests_behind_one_another_on_a_line_are_all_answered(service: Service) -> None:
    """Pipelined (RFC 9112, 9.3.2), in pieces, and for longer than a single one may take."""
    request = b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n"
    with line_to(service) as line:
        for _ in range(8):
            line.sendall(request * 3 + request[:9])
            time.sleep(0.15)
            line.sendall(request[9:])
            came = b""
            while came.count(b"HTTP/1.1 200") < 4:
                came += line.recv(65_536)


def test_a_body_that_does_not_come_behind_another_request_is_given_up(service: Service) -> None:
    """Pipelined: its head came while nothing was due, since the request before it was there."""
    sent = b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n"
    sent += b"POST /api/join HTTP/1.1\r\n" + HOST + b"Content-Length: 5000\r\n\r\n"
    began = time.perf_counter()
    came = ask(service, sent)
    assert time.perf_counter() - began < 3
    assert came.startswith(b"HTTP/1.1 200")


def test_what_is_no_http_behind_another_request_is_never_taken_for_its_answer(
    service: Service,
) -> None:
    """Answers come in the order of the requests (RFC 9112, 9.3.2), so the first would get it."""
    sent = b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n"
    sent += b"POST /api/join HTTP/1.1\r\n" + HOST + b"Transfer-Encoding: chunked\r\n\r\n"
    came = ask(service, sent + b"no length\r\n")
    assert b" 400 " not in came
    assert came == b"" or came.startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize(
    "target", ["GET http://a:99999/", "GET http:///x", "GET http://a:/x", "CONNECT a:1"]
)
def test_a_first_request_for_what_is_no_address_is_refused_in_words(
    service: Service, target: str, caplog: pytest.LogCaptureFixture
) -> None:
    sent = target.encode() + b" HTTP/1.1\r\n" + HOST + b"\r\n"
    the_problem(ask(service, sent), 400, "bad-request")
    assert not [one for one in caplog.records if one.exc_info]


def test_a_feed_with_a_request_behind_it_ends_quietly_with_its_line(
    service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    meet = a_meet(service)
    feed: Feed = service.app.state.services.feed
    signed_on = f"Authorization: Bearer {meet.referee.token}\r\n".encode()
    head = f"GET /api/meets/{meet.id}/feed HTTP/1.1\r\n".encode()
    with line_to(service) as line:
        line.sendall(head + signed_on + HOST + b"\r\n")
        while b"retry:" not in line.recv(65_536):
            pass
        line.sendall(b"GET /healthz HTTP/1.1\r\n" + HOST + b"\r\n")
        time.sleep(0.1)
    until = time.monotonic() + 5
    while feed.open_streams and time.monotonic() < until:
        meet.report()
        time.sleep(0.05)
    assert feed.open_streams == 0
    assert not caplog.records


def test_a_live_feed_outlasts_all_bounds(service: Service) -> None:
    meet = a_meet(service)
    headers = {"Authorization": f"Bearer {meet.referee.token}"}
    address = f"/api/meets/{meet.id}/feed"
    with service.http.stream("GET", address, headers=headers) as feed:
        time.sleep(Hasty.seconds_for_head + Hasty.seconds_for_body + 0.3)
        meet.start()
        assert any("heat started" in line for line in feed.iter_lines() if "data" in line)


def a_small_line_to(service: Service) -> socket.socket:
    """A line that holds little of what its client does not take."""
    host, port = service.address.removeprefix("http://").split(":")
    line = socket.socket()
    line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    line.settimeout(5)
    line.connect((host, int(port)))
    return line


ANSWERS = 40
"""Of the description of all routes, some 20 MB: more than the systems on both sides take in."""


def test_whoever_takes_nothing_of_an_answer_is_given_up(service: Service) -> None:
    assert service.http.get("/openapi.json").status_code == 200  # made once; it takes a while
    with a_small_line_to(service) as line:
        line.sendall((b"GET /openapi.json HTTP/1.1\r\n" + HOST + b"\r\n") * ANSWERS)
        time.sleep(Hasty.seconds_for_reader + 0.5)
        assert service.http.get("/healthz").status_code == 200
        assert all_of(line).count(b"HTTP/1.1 200") < ANSWERS


def test_whoever_takes_an_answer_slowly_gets_all_of_it(service: Service) -> None:
    whole = len(service.http.get("/openapi.json").content)
    with a_small_line_to(service) as line:
        last = b"GET /openapi.json HTTP/1.1\r\nConnection: close\r\n"
        line.sendall(last + HOST + b"\r\n")
        came, ends = b"", time.monotonic() + 2 * Hasty.seconds_for_reader
        while time.monotonic() < ends and len(came) < whole // 2:
            came += line.recv(whole // 40)
            time.sleep(0.05)
        came += all_of(line)
    assert len(came.partition(b"\r\n\r\n")[2]) == whole


def test_a_slow_phone_that_is_in_time_is_served(service: Service) -> None:
    meet = a_meet(service)
    body = json.dumps(a_report(meet.heat(), meet.posts["umpire"])).encode()
    head = f"PUT /api/meets/{meet.id}/reports/{new_id()} HTTP/1.1\r\nHost: here\r\n"
    head += f"Authorization: Bearer {meet.umpire.token}\r\nConnection: close\r\n"
    head += f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    sent = head.encode() + body
    with line_to(service) as line:
        for start in range(0, len(sent), 100):
            line.sendall(sent[start : start + 100])
            time.sleep(0.02)
        assert all_of(line).startswith(b"HTTP/1.1 201")


@pytest.mark.parametrize(
    "sent", [b"\x16\x03\x01\x02\x00\x01\x00", b"HELLO\r\n\r\n", b"GET\r\n\r\n"]
)
def test_what_is_no_http_is_answered_with_a_problem(service: Service, sent: bytes) -> None:
    the_problem(ask(service, sent), 400, "bad-request")


@pytest.mark.parametrize(
    "said",
    [
        b"Content-Length: 5\r\nTransfer-Encoding: chunked",
        b"Content-Length: 0\r\nContent-Length: 5",
        b"Transfer-Encoding: chunked, identity",
        b"Transfer-Encoding: xchunked",
    ],
)
def test_no_request_hides_behind_one_whose_end_can_be_read_in_two_ways(
    service: Service, said: bytes
) -> None:
    """RFC 9112, 6.3: a proxy in front may see another end, and let the second one through."""
    first = b"POST /api/join HTTP/1.1\r\nHost: here\r\n" + said + b"\r\n\r\n"
    the_problem(
        ask(service, first + b"0\r\n\r\n" + b"GET /healthz HTTP/1.1\r\n\r\n"), 400, "bad-request"
    )


def test_further_connections_are_turned_away_and_let_in_again(
    service: Service, caplog: pytest.LogCaptureFixture
) -> None:
    with ExitStack() as lines, caplog.at_level(logging.WARNING):
        for _ in range(Hasty.most):
            lines.enter_context(line_to(service)).sendall(b"GET")
        for _ in range(3):
            the_problem(ask(service), 503, "unavailable")
    assert [record.getMessage() for record in caplog.records] == [
        f"all {Hasty.most} connections are taken; further ones are turned away"
    ]
    assert answers_in_time(service.address)


def answers_in_time(address: str) -> bool:
    """Whether the server answers before two seconds have passed."""
    until = time.perf_counter() + 2
    while time.perf_counter() < until:
        try:
            if httpx.get(f"{address}/healthz").status_code == 200:
                return True
        except httpx.TransportError:
            pass
        time.sleep(0.02)
    return False


def test_the_number_of_connections_follows_from_the_files_a_process_may_open() -> None:
    assert most_connections(1024) == 1024 - FILES_FOR_OTHERS
    assert most_connections(64) == 32
    assert most_connections(-1) == most_connections(2**20) == 5_000


def test_half_open_requests_leave_files_for_the_work_of_others(tmp_path: Path) -> None:
    """A real process that may open 256 files, and a client that opens more lines than that."""
    serve = f"ulimit -n 256; exec {sys.executable} -m app serve --port 0"
    seal = {"ZONEDOCKET_SEAL_FOLDER": str(tmp_path / "seal"), "ZONEDOCKET_SEAL_PASSPHRASE": "k"}
    settings = {
        "DATABASE_URL": f"sqlite:///{tmp_path / 'a.db'}",
        "ZONEDOCKET_SETUP_KEY": "k",
        **seal,
    }
    process = subprocess.Popen(
        ["bash", "-c", serve],
        env=os.environ | settings,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout is not None
    try:
        found = re.match(r"Serving (http://([\d.]+):(\d+))", process.stdout.readline())
        assert found is not None
        with httpx.Client(base_url=found[1]) as early, ExitStack() as lines:
            assert early.get("/healthz").status_code == 200
            for _ in range(300):
                line = socket.create_connection((found[2], int(found[3])), timeout=5)
                lines.enter_context(line).sendall(b"GET / HTTP/1.1\r\nX")
            for _ in range(3):  # whoever is there already is served, the database included
                assert early.get("/readyz").status_code == 200
        assert answers_in_time(found[1])
    finally:
        process.terminate()
        said, _ = process.communicate(timeout=20)
    assert "128 connections are taken" in said
    assert "Too many open files" not in said


def test_a_line_that_was_lost_is_given_up_by_the_system() -> None:
    """TCP_USER_TIMEOUT (RFC 5482), inherited by each connection from the listener (Linux)."""
    settings = Settings(_env_file=None).model_copy(update={"port": 0})
    with listen(settings) as listener, socket.create_connection(listener.getsockname()):
        line, _ = listener.accept()
        with line:
            option = line.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT)
    assert option == MS_UNTIL_LOST

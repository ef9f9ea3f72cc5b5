"""Each request has an id, in its answer and in the log; its line there tells nobody's data."""

from __future__ import annotations

import asyncio
import gc
import io
import json
import logging
import re
import socket
import threading
import time
import weakref
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest
from starlette.types import Message, Receive, Scope, Send

from app.attending import Attend
from app.ids import ACCEPTED_ID, new_id
from app.logs import AsJson, Handed
from tests.builders import PIN, Json, MeetAtHand, a_problem, a_report
from tests.running import Service

SECRET = "Nora-Newcomer"


@contextmanager
def log_of(service: Service) -> Iterator[list[Json]]:
    """The lines of the requests that end inside the block, there once it has ended."""
    stream, lines = io.StringIO(), list[Json]()
    with service.app.state.services.request_log.written_to(stream):
        yield lines
        # A line may come a moment after its answer, but before the next request is looked at.
        last = id_of(service.http.get("/healthz"))
    said = [json.loads(line) for line in stream.getvalue().splitlines()]
    lines += [line for line in said if line["request"] != last]


def id_of(answer: httpx.Response) -> str:
    found = answer.headers["x-request-id"]
    assert re.fullmatch(ACCEPTED_ID, found)
    return found


def test_every_answer_gives_out_an_id_of_its_own(meet: MeetAtHand) -> None:
    http = meet.service.http
    answers = [
        http.get("/healthz"),
        http.get("/healthz"),
        http.head("/healthz"),
        http.get("/nowhere"),
        http.post("/healthz"),
        http.post("/api/join", content=b"x" * 100_000),
        http.post("/api/join", content=b"{", headers={"content-type": "application/json"}),
        http.get("/", headers={"accept": "text/html"}),
        meet.umpire.put(f"reports/{new_id()}", a_report(meet.heats[0]["id"], None, lane=3)),
    ]
    assert len({id_of(answer) for answer in answers}) == len(answers)


@pytest.mark.parametrize("theirs", ["01936f2e-7b1c-7cc3-98c4-dc0c0c07398f", "0123456789abcdef" * 2])
def test_an_id_that_the_caller_sends_stands_beside_ours_where_it_is_one(
    service: Service, theirs: str
) -> None:
    with log_of(service) as lines:
        one = service.http.get("/healthz", headers={"X-Request-Id": theirs})
        other = service.http.get("/healthz", headers={"X-Request-Id": SECRET})
    assert theirs not in {id_of(one), id_of(other)}
    by_id = {line["request"]: line for line in lines}
    assert by_id[id_of(one)]["sent_id"] == theirs
    assert "sent_id" not in by_id[id_of(other)]


def test_the_line_of_a_request_says_what_was_asked_by_whom_and_how_it_went(
    meet: MeetAtHand,
) -> None:
    with log_of(meet.service) as lines:
        written = meet.umpire.put(
            f"reports/{new_id()}", a_report(meet.heats[0]["id"], None, lane=3)
        )
        refused = meet.umpire.get("docket")
        unknown = meet.service.http.get(f"/api/meets/{meet.id}/{SECRET}")
        malformed = meet.umpire.put(f"reports/{new_id()}", {"lane": SECRET})
    assert written.status_code == 201
    by_id = {line["request"]: line for line in lines}
    report, docket = "/api/meets/{meet}/reports/{report}", "/api/meets/{meet}/docket"
    actor = meet["umpire"].id
    for answer, route, who in (
        (written, report, actor),
        (refused, docket, actor),
        (unknown, "none", None),
        (malformed, report, actor),
    ):
        line = by_id[id_of(answer)]
        assert line["status"] == answer.status_code
        assert (line["route"], line.get("actor")) == (route, who), line
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", line["at"])
        assert line["level"] == "info"
        assert 0 < line["ms"] < 30_000


def test_no_line_tells_what_somebody_sent(meet: MeetAtHand) -> None:
    """Names, PINs, tokens, bodies, queries, headers, and what an address was made of."""
    http = meet.service.http
    token = meet["umpire"].token
    marks = [SECRET, PIN, token, meet["umpire"].name]
    with log_of(meet.service) as lines:
        meet.organiser.put(f"officials/{new_id()}", {"name": SECRET, "roles": ["umpire"]})
        meet.umpire.get(f"heats?who={SECRET}")
        http.get(f"/{SECRET}", headers={"Referer": SECRET, "User-Agent": SECRET})
        http.post("/api/join", json={"token": token, "session": new_id(), "pin": PIN})
        http.get("/healthz", headers={"X-Request-Id": f"{SECRET}\u00e9".encode()})
    assert len(lines) == 5
    assert [mark for mark in marks if mark in json.dumps(lines, ensure_ascii=False)] == []
    known = {"at", "level", "request", "sent_id", "method", "route", "status", "ms", "actor"}
    assert {name for line in lines for name in line} <= known


def test_what_goes_wrong_meanwhile_is_logged_with_the_id_that_is_given_out(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(AsJson())
    monkeypatch.setattr(service.clock, "now", None)  # asking it fails as nobody foresaw
    logger = logging.getLogger("app.problems")
    logger.addHandler(handler)
    try:
        answer = service.http.get("/api/time", headers={"User-Agent": SECRET})
    finally:
        logger.removeHandler(handler)
    a_problem(answer, 500, "unexpected")
    (line,) = stream.getvalue().splitlines()
    said = json.loads(line)
    assert said["request"] == id_of(answer)
    assert said["level"] == "error"
    assert "TypeError" in said["error"]
    assert SECRET not in line


def test_what_was_logged_is_one_line_whatever_is_in_it() -> None:
    """OWASP ASVS 5.0, 16.4.1: whoever could break a line could write lines of their own."""
    breaks = "a\r\nb\x1b[2J\u2028c\x85d"
    record = logging.LogRecord("a", logging.WARNING, "a.py", 1, "%s", (breaks,), None)
    line = AsJson().format(record)
    assert line.isascii()
    assert line.isprintable()
    assert json.loads(line)["message"] == breaks


class StandingStill(io.StringIO):
    """Takes no line until it is let go on."""

    def __init__(self) -> None:
        super().__init__()
        self.reached, self.go_on = threading.Event(), threading.Event()

    def write(self, text: str) -> int:
        self.reached.set()
        assert self.go_on.wait(30)
        return super().write(text)


def test_nobody_waits_for_whoever_reads_the_log_and_what_is_left_out_is_said(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.logs.MOST_WAITING", 3)
    stream = StandingStill()
    with service.app.state.services.request_log.written_to(stream):
        service.http.get("/healthz")
        assert stream.reached.wait(30)
        for _ in range(5):  # three of them wait for the reader
            assert service.http.get("/healthz").status_code == 200
        stream.go_on.set()
    lines = [json.loads(line) for line in stream.getvalue().splitlines()]
    assert len([line for line in lines if "route" in line]) == 4
    assert "2 lines were left out" in lines[-1]["message"]


def test_a_warning_does_not_wait_for_whoever_reads_the_log(
    service: Service, request: pytest.FixtureRequest
) -> None:
    """It is given by the event loop or by the writer, and everybody would wait with them."""
    stream, logger = StandingStill(), logging.getLogger("of this test")
    handler = Handed(stream)
    handler.setFormatter(AsJson())
    logger.addHandler(handler)
    logger.propagate = False
    request.addfinalizer(lambda: logger.removeHandler(handler))
    with service.app.state.services.request_log.written_to(stream, requests=False):
        logger.warning("the first")
        assert stream.reached.wait(30)
        warns = threading.Thread(target=logger.warning, args=("the second",), daemon=True)
        warns.start()
        warns.join(10)
        assert not warns.is_alive()
        assert service.http.get("/healthz").status_code == 200
        stream.go_on.set()
    said = [json.loads(line)["message"] for line in stream.getvalue().splitlines()]
    assert said == ["the first", "the second"]


def test_a_log_that_nobody_reads_any_more_ends_nothing(service: Service) -> None:
    stream = io.StringIO()
    stream.close()
    with service.app.state.services.request_log.written_to(stream):
        assert service.http.get("/healthz").status_code == 200
    assert service.http.get("/healthz").status_code == 200


def test_a_phone_that_goes_away_while_it_sends_is_no_fault_of_the_server(
    meet: MeetAtHand, caplog: pytest.LogCaptureFixture
) -> None:
    address, report = httpx.URL(meet.service.address), meet.report(lane=3)["id"]
    path = f"/api/meets/{meet.id}/reports/{report}/pictures/{new_id()}"
    head = (
        f"PUT {path} HTTP/1.1\r\nHost: a\r\nContent-Type: image/jpeg\r\nContent-Length: 9000\r\n"
        f"Authorization: Bearer {meet['umpire'].token}\r\n\r\n"
    )
    stream, log = io.StringIO(), meet.service.app.state.services.request_log
    with log.written_to(stream):
        with socket.create_connection((address.host, address.port or 80)) as line:
            line.sendall(head.encode() + b"\xff" * 1000)
        until = time.monotonic() + 30
        while "pictures" not in stream.getvalue():
            assert time.monotonic() < until
            time.sleep(0.01)
    # What the service does of itself meanwhile has lines of its own.
    told = [json.loads(one) for one in stream.getvalue().splitlines()]
    (said,) = [one for one in told if "pictures" in str(one)]
    assert (said["level"], said["status"], said["actor"]) == ("info", 0, meet["umpire"].id)
    assert caplog.text == ""


class Cycle:
    """What a server makes for a request: it holds the scope, and sends."""

    def __init__(self) -> None:
        self.scope: Scope = {"type": "http", "method": "GET", "path": "/", "headers": []}

    async def receive(self) -> Message:
        raise AssertionError("nothing is to be received")

    async def send(self, message: Message) -> None:
        pass


def test_what_a_server_made_for_a_request_goes_with_it(service: Service) -> None:
    """The collector of garbage looks seldom here: nothing may wait for it with each request."""

    async def app(_scope: Scope, _receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    services = service.app.state.services
    attend = Attend(app, services.measures, services.request_log)
    cycle = Cycle()
    gone = weakref.ref(cycle)
    gc.disable()
    try:
        asyncio.run(attend(cycle.scope, cycle.receive, cycle.send))
        del cycle
        assert gone() is None
    finally:
        gc.enable()

"""How soon does everybody who follows a meet see what was done, and what does a follower cost?

So many live feeds are kept open, all in one meet or spread over many, while reports come in at an
even pace. A delivery's time is from the act, as its entry says it, to the arrival of its last byte;
the commit is part of it. Readers, reporters and the server share the machine.
"""

from __future__ import annotations

import itertools
import json
import secrets
import selectors
import socket
import time
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

from sqlalchemy import insert, select

from app.access.secrets import hash_secret
from app.access.tables import sessions
from app.ids import new_id
from app.record.feed import MOST_STREAMS
from app.store.engine import open_engines
from tests.bench.databases import Databases
from tests.bench.lines import Line, at_most
from tests.bench.load import END_OF_HEAD, LoadFailed, length_of
from tests.bench.plan import LARGEST_STREAM_KB, SLOWEST_DELIVERY_MS, Plan
from tests.bench.servers import SERVICE, resident_kb, some_processes
from tests.builders import MeetAtHand, a_meet, a_report
from tests.running import a_service

WAITS = 30.0
REPORTERS = 8
HEATS = 10
"""Nobody may write more than some reports about one team in one heat."""


@dataclass(frozen=True, slots=True)
class Followed:
    """A meet that is followed: who reports in it, and the sessions that watch."""

    id: str
    reporter: str
    reports: tuple[dict[str, object], ...]
    watchers: tuple[str, ...]


def measure_following(plan: Plan, databases: Databases) -> list[Line]:
    """One row for the cost of a stream, and one for each way that the streams are spread."""
    lines: list[Line] = []
    for meets, pace in ((1, 5.0), (plan.followed_meets, plan.followed_pace)):
        name = f"{plan.streams:,} feeds, {meets} meet{'s' if meets > 1 else ''}, {pace:g} acts/s"
        costs: list[float] = []
        rounds: list[list[float]] = []
        url = databases.migrated()
        followed = set_up(url, meets, plan.streams)
        for _ in range(plan.followed_rounds):
            with some_processes((SERVICE, url)) as (server,):
                before = resident_kb(server)
                with open_streams(server.address, followed) as streams:
                    costs.append((resident_kb(server) - before) / plan.streams)
                    rounds.append(sorted(drive(followed, streams, pace, plan.followed_seconds)))
        if meets == 1:
            goal = at_most(sorted(costs)[len(costs) // 2], LARGEST_STREAM_KB, " KB")
            lines.append(Line(f"an open feed, of {plan.streams:,}", "KB", tuple(costs), goal=goal))
        p99s = [each[-max(len(each) // 100, 1)] for each in rounds]
        middles = [each[len(each) // 2] for each in rounds]
        p99 = sorted(p99s)[len(p99s) // 2] * 1000
        p50 = sorted(middles)[len(middles) // 2] * 1000
        goal = at_most(p99, SLOWEST_DELIVERY_MS, " ms p99")
        lines.append(Line(name, "s", tuple(middles), p50, p99, goal=goal))
    return lines


def set_up(url: str, meets: int, streams: int) -> list[Followed]:
    """Meets with their crews, and sessions enough for the streams."""
    with a_service(url) as service:
        roles = ("umpire", "referee")
        hands = [a_meet(service, roles=roles, umpires=(), heats=HEATS) for _ in range(meets)]
    engines = open_engines(url)
    each = -(-streams // meets)
    with engines.writing.connect() as conn, conn.begin():
        found = [_followed(conn, hand, -(-each // MOST_STREAMS)) for hand in hands]
    engines.dispose()
    return found


def _followed(conn, hand: MeetAtHand, number: int) -> Followed:  # type: ignore[no-untyped-def]
    pattern = (
        conn.execute(select(sessions).where(sessions.c.official_id == hand.referee.id))
        .first()
        ._asdict()
    )
    tokens = [secrets.token_urlsafe(32) for _ in range(number)]
    rows = [pattern | {"id": new_id(), "secret_hash": hash_secret(token)} for token in tokens]
    conn.execute(insert(sessions), rows)
    reports = tuple(
        a_report(hand.heat(heat), hand.posts["umpire"], lane=lane)
        for heat in range(HEATS)
        for lane in (3, 4)
    )
    return Followed(hand.id, hand.umpire.token, reports, tuple(tokens))


class Streams:
    """Open feeds and the reporters' lines, read as they come."""

    def __init__(self, selector: selectors.BaseSelector, number: int) -> None:
        self._selector = selector
        self.events = [0] * number
        """How many entries each feed has got."""
        self.took: list[float] = []
        """Seconds from act to arrival, of each delivery."""
        self._answers: dict[socket.socket, bytes] = {}
        self.idle: deque[socket.socket] = deque()
        """Reporters' lines on which nothing is awaited, in turn: one left alone would be closed."""

    def open(self, line: socket.socket, number: int) -> None:
        self._selector.register(line, selectors.EVENT_READ, number)

    def report_by(self, line: socket.socket) -> None:
        self._selector.register(line, selectors.EVENT_READ, None)
        self.idle.append(line)

    def read(self, timeout: float) -> None:
        """Take what has come, or comes within the timeout."""
        for key, _ in self._selector.select(timeout):
            line: socket.socket = key.fileobj  # type: ignore[assignment]
            came = line.recv(1 << 16)
            if not came:
                raise LoadFailed("The server closed a line in the middle of a load.")
            if key.data is None:
                self._answers[line] = self._answers.get(line, b"") + came
                if _is_kept(self._answers[line]):
                    del self._answers[line]
                    self.idle.append(line)
            else:
                self._count(key.data, came, time.time())

    def _count(self, number: int, came: bytes, now: float) -> None:
        for part in came.split(b'"at":"')[1:]:
            acted = datetime.fromisoformat(part[: part.index(b'"')].decode()).timestamp()
            self.took.append(now - acted)
            self.events[number] += 1


@contextmanager
def open_streams(address: str, followed: Sequence[Followed]) -> Iterator[Streams]:
    """A feed for each place of each session of the watchers, until the block ends."""
    parts = urlsplit(address)
    with ExitStack() as stack:
        streams = Streams(stack.enter_context(selectors.DefaultSelector()), feeds_of(followed))

        def a_line() -> socket.socket:
            where = (parts.hostname, parts.port)
            return stack.enter_context(socket.create_connection(where, WAITS))

        number = itertools.count()
        for meet in followed:
            for token in meet.watchers * MOST_STREAMS:
                streams.open(_feed(a_line(), meet.id, token), next(number))
        for _ in range(REPORTERS):
            streams.report_by(a_line())
        yield streams


def feeds_of(followed: Sequence[Followed]) -> int:
    return sum(len(meet.watchers) * MOST_STREAMS for meet in followed)


def _feed(line: socket.socket, meet: str, token: str) -> socket.socket:
    head = f"GET /api/meets/{meet}/feed HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {token}\r\n"
    line.sendall(f"{head}\r\n".encode())
    came = b""
    while b"retry:" not in came:
        got = line.recv(4096)
        came += got
        if not got or not came.startswith(b"HTTP/1.1 200"):
            raise LoadFailed(f"A feed was not opened: {came[:300]!r}")
    return line


def drive(
    followed: Sequence[Followed], streams: Streams, pace: float, seconds: float
) -> list[float]:
    """Report at an even pace and read what arrives; seconds from act to arrival, each delivery.

    LoadFailed unless each feed got each report of its meet, once.
    """
    coming = itertools.cycle(
        [(meet, one) for one in range(len(followed[0].reports)) for meet in followed]
    )
    sent: Counter[str] = Counter()
    began, number = time.perf_counter(), 0
    while (passed := time.perf_counter() - began) < seconds or len(streams.idle) < REPORTERS:
        if passed < seconds and passed >= number / pace and streams.idle:
            meet, one = next(coming)
            streams.idle.popleft().sendall(_put(meet, json.dumps(meet.reports[one]).encode()))
            sent[meet.id] += 1
            number += 1
        streams.read(max(0.0, min(number / pace - passed, 0.05)))
    expected = [
        sent[meet.id] for meet in followed for _ in range(len(meet.watchers) * MOST_STREAMS)
    ]
    ends = time.perf_counter() + WAITS
    while sum(streams.events) < sum(expected) and time.perf_counter() < ends:
        streams.read(0.05)
    if streams.events != expected:
        raise LoadFailed("A feed lost a report, or got one twice.")
    return streams.took


def _put(meet: Followed, body: bytes) -> bytes:
    head = (
        f"PUT /api/meets/{meet.id}/reports/{new_id()} HTTP/1.1\r\nHost: x\r\n"
        f"Authorization: Bearer {meet.reporter}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


def _is_kept(came: bytes) -> bool:
    """Whether an answer is whole; LoadFailed unless it says that the report was kept."""
    head, found, body = came.partition(END_OF_HEAD)
    if found and not head.startswith(b"HTTP/1.1 201 "):
        raise LoadFailed(f"A report was not kept: {came[:300]!r}")
    return bool(found) and len(body) >= length_of(head)

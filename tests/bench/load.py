"""How many answers a second, and how long does one take? A closed loop of clients.

Each client keeps one HTTP/1.1 connection, sends its next request when the last one is answered, and
sends bytes that were made beforehand. One loop over ready sockets serves all clients: it costs a
few microseconds a request, so what is measured is the server and not the load. In a closed loop a
slow answer also delays the next request; percentiles therefore compare runs, they promise nothing.
"""

from __future__ import annotations

import selectors
import socket
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from time import perf_counter
from urllib.parse import urlsplit

LONGEST_WAIT_S = 30.0
END_OF_HEAD = b"\r\n\r\n"
LENGTH = b"\r\ncontent-length: "


class LoadFailed(Exception):
    """The server did not answer as expected: the numbers would mean nothing."""


@dataclass(frozen=True, slots=True)
class Load:
    """One load: how long it took and how long each answer took, in seconds, shortest first."""

    seconds: float
    answers: tuple[float, ...]

    @property
    def rate(self) -> float:
        """Answers a second."""
        return len(self.answers) / self.seconds

    def percentile_ms(self, percent: int) -> float:
        """The time within which `percent` of the answers came (nearest rank), in milliseconds."""
        rank = -(-len(self.answers) * percent // 100)
        return self.answers[max(rank, 1) - 1] * 1000


@dataclass(slots=True, eq=False)
class _Client:
    requests: Iterator[bytes]
    connection: socket.socket
    expected: bytes
    sent_at: float = 0.0
    received: bytes = field(default=b"")

    def send_next(self) -> None:
        self.received = b""
        request = next(self.requests)
        self.sent_at = perf_counter()
        self.connection.sendall(request)

    def is_answered(self) -> bool:
        """Take what has come; True once the answer is whole. LoadFailed for any other status."""
        came = self.connection.recv(1 << 18)
        if not came:
            raise LoadFailed("The server closed a connection in the middle of a load.")
        self.received += came
        head, found, body = self.received.partition(END_OF_HEAD)
        if not found:
            return False
        if not head.startswith(self.expected):
            raise LoadFailed(f"Unexpected answer: {self.received[:500].decode('utf-8', 'replace')}")
        return len(body) >= length_of(head)


def length_of(head: bytes) -> int:
    """The length of a body, from its head; LoadFailed where it is not told."""
    _, found, rest = head.lower().partition(LENGTH)
    if not found:
        raise LoadFailed("An answer came without its length.")
    return int(rest.partition(b"\r\n")[0])


def run_load(
    address: str, clients: Sequence[Iterator[bytes]], seconds: float, status: int = 200
) -> Load:
    """Send each client's requests, one after the other, until the time is up."""
    expected = b"HTTP/1.1 %d " % status
    with ExitStack() as stack:
        selector = stack.enter_context(selectors.DefaultSelector())
        joined = [_connect(address, requests, expected, stack) for requests in clients]
        for client in joined:
            selector.register(client.connection, selectors.EVENT_READ, client)
        return _drive(selector, joined, seconds)


def _connect(address: str, requests: Iterator[bytes], expected: bytes, stack: ExitStack) -> _Client:
    parts = urlsplit(address)
    connection = socket.create_connection((parts.hostname, parts.port), LONGEST_WAIT_S)
    stack.enter_context(connection)
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return _Client(requests, connection, expected)


def _drive(selector: selectors.BaseSelector, joined: list[_Client], seconds: float) -> Load:
    took: list[float] = []
    began = now = perf_counter()
    ends, waiting = began + seconds, len(joined)
    for client in joined:
        client.send_next()
    while waiting:
        ready = selector.select(LONGEST_WAIT_S)
        if not ready:
            raise LoadFailed(f"No answer came for {LONGEST_WAIT_S:g} seconds.")
        for key, _events in ready:
            client = key.data
            if not client.is_answered():
                continue
            now = perf_counter()
            took.append(now - client.sent_at)
            if now < ends:
                client.send_next()
            else:
                waiting -= 1
    return Load(now - began, tuple(sorted(took)))

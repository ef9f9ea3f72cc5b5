"""A connection: how much, and how long, a client may take up before its request is there.

The server's own parser takes a head of any size, and waits for it and for the body for as long as
the line is open. One request without an end would fill the memory; some hundreds that never end
would take every file the process may open. Here each has its bounds, and what breaks them is
answered with a problem document where an answer still makes sense, and closed.

What costs time is done once a connection or every few seconds.
"""

from __future__ import annotations

import asyncio
import logging
import math
import resource
import sys
from typing import Any, ClassVar

from uvicorn.protocols.http.httptools_impl import (
    STATUS_LINE,
    HttpToolsProtocol,
    RequestResponseCycle,
)

from app.attended import HEADER, Attended
from app.browsers import RAW
from app.problems import ADVICE, OTHERS, UNAVAILABLE, ProblemType, problem
from app.shortage import WHAT_TO_DO, is_shortage

log = logging.getLogger(__name__)

FILES_FOR_OTHERS = 128
"""What the process opens besides connections: the database many times over, fonts, pictures."""


def most_connections(files: int) -> int:
    """How many connections a process may keep open that may open so many files."""
    if files == resource.RLIM_INFINITY:
        return 5_000
    return min(5_000, max(files - FILES_FOR_OTHERS, files // 2))


class HeadWithBody:
    """A transport that sends the head of an answer together with the first part of its body.

    The server writes them one after the other, and each writing is a call of the system and wakes
    whoever waits at the other end: of a report's answer twice for one. A head whose body comes
    later, as that of a live feed, goes in the loop's next turn.
    """

    def __init__(self, transport: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        self._transport, self._loop = transport, loop
        self._head = b""

    def write(self, data: bytes) -> None:
        """Send, or hold a head until its body comes."""
        if self._head:
            data, self._head = self._head + data, b""
        elif data.startswith(b"HTTP/1.1 "):
            self._head = data
            self._loop.call_soon(self._send_head)
            return
        self._transport.write(data)

    def close(self) -> None:
        """Close once all is sent."""
        self._send_head()
        self._transport.close()

    def _send_head(self) -> None:
        if self._head:
            self._transport.write(self._head)
            self._head = b""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)


class _HeadTooLarge(Exception):
    """Makes the parser give up: the head that was just completed is larger than it may be."""


class Connection(HttpToolsProtocol):
    """The server's connection, bounded. The bounds are our own: a phone's head has 500 bytes."""

    largest_head: ClassVar[int] = 16 * 1024
    """Bytes of the request line and headers; as many for the trailers of a body."""
    seconds_for_head: ClassVar[float] = 15.0
    """From the first byte that could be sent; what the line was idle before counts."""
    seconds_for_body: ClassVar[float] = 120.0
    """From the end of the head: 8 MiB of a start list at 600 kbit/s."""
    seconds_for_reader: ClassVar[float] = 30.0
    """Whoever takes nothing of an answer for so long is given up: what waits for them fills the
    memory. A live feed that is given up goes on after its last id, and nothing is missed."""
    look_every: ClassVar[float] = 5.0
    """Seconds between two looks whether a request is late."""
    most: ClassVar[int] = most_connections(resource.getrlimit(resource.RLIMIT_NOFILE)[0])
    """Connections that are open at once."""
    _told_full_at: ClassVar[float] = -math.inf

    _unheard = 0
    """Bytes received that were no body, since the last request or part of a body was complete."""
    _due = math.inf
    """When the present head, and then its body, must be complete; nothing is due to an answer."""
    _full_since = math.inf
    """Since when no more of an answer fits on the line."""
    _is_head_too_large = False
    _answering: RequestResponseCycle | None = None
    """What is being answered; `cycle` is what was asked last, and may wait behind it."""
    _looking: asyncio.TimerHandle | None = None

    def connection_made(  # type: ignore[override]  # as the server's own: it is a Transport
        self, transport: asyncio.Transport
    ) -> None:
        together: Any = HeadWithBody(transport, self.loop)
        super().connection_made(together)
        if len(self.connections) > self.most:
            self.connections.discard(self)
            self._tell_full()
            self._refuse(UNAVAILABLE, "All lines are taken; try again in a moment.")
            return
        self._due = self.loop.time() + self.seconds_for_head
        self._looking = self.loop.call_later(self.look_every, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        if self._looking is not None:
            self._looking.cancel()
        super().connection_lost(exc)
        running = self._answering
        if running is not None and not running.response_complete:
            # The server tells what was asked last alone, also where a feed runs in front of it.
            running.disconnected = True
            running.message_event.set()

    def _look(self) -> None:
        now = self.loop.time()
        if now - self._full_since > self.seconds_for_reader:
            self.transport.abort()  # closing would wait until they take what waits
        elif now > self._due:
            self._refuse(OTHERS[408], ADVICE[408])
        else:
            self._looking = self.loop.call_later(self.look_every, self._look)

    def pause_writing(self) -> None:
        self._full_since = self.loop.time()
        super().pause_writing()

    def resume_writing(self) -> None:
        self._full_since = math.inf
        super().resume_writing()

    def _tell_full(self) -> None:
        """In the log, once a minute."""
        now = self.loop.time()
        if now - Connection._told_full_at > 60:
            Connection._told_full_at = now
            log.warning("all %d connections are taken; further ones are turned away", self.most)

    def data_received(self, data: bytes) -> None:
        self._unheard += len(data)
        super().data_received(data)
        if self._unheard > self.largest_head and not self.transport.is_closing():
            self._refuse(OTHERS[431], ADVICE[431])

    def on_headers_complete(self) -> None:
        # What came may be the body as well, so it is counted; few heads come with that much.
        if self._unheard > self.largest_head and self._head_size() > self.largest_head:
            self._is_head_too_large = True
            raise _HeadTooLarge
        # Nothing was due where this request came behind one that is still being answered.
        began = self.loop.time() if self._due == math.inf else self._due
        self._due = began + self.seconds_for_body
        super().on_headers_complete()
        if not self.pipeline:
            self._answering = self.cycle

    def _head_size(self) -> int:
        return len(self.url) + sum(len(name) + len(value) + 4 for name, value in self.headers)

    def on_body(self, body: bytes) -> None:
        self._unheard = 0
        super().on_body(body)

    def on_message_complete(self) -> None:
        self._unheard = 0
        if not self.cycle.response_complete:
            self._due = math.inf
        super().on_message_complete()

    def on_response_complete(self) -> None:
        if self.pipeline:
            self._answering = self.pipeline[-1][0]
        super().on_response_complete()
        if self.cycle.response_complete:  # and no further request is being answered
            self._due = self.loop.time() + self.seconds_for_head

    def send_400_response(self, msg: str) -> None:
        """What the server says of a request that its parser gave up, or was made to give up."""
        if self._is_head_too_large:
            self._refuse(OTHERS[431], ADVICE[431])
        elif is_shortage(sys.exception()):  # the parser gives up whatever its reader raises
            self._refuse(UNAVAILABLE, WHAT_TO_DO)
        else:
            self._refuse(OTHERS[400], f"{msg} It is no HTTP/1.1 (RFC 9112).")

    def _refuse(self, kind: ProblemType, detail: str) -> None:
        """Answer where nobody would take it for another request's answer, and close."""
        if self._may_answer():
            own = Attended().id
            told = {"Connection": "close", HEADER: own}
            response = problem(kind, detail, told, instance=f"urn:uuid:{own}")
            headers = [*self.server_state.default_headers, *response.raw_headers, *RAW]
            lines = [name + b": " + value + b"\r\n" for name, value in headers]
            head = b"".join([STATUS_LINE[kind.status], *lines, b"\r\n"])
            self.transport.write(head + bytes(response.body))
        self.transport.close()

    def _may_answer(self) -> bool:
        if self.pipeline:
            return False
        if self._answering is None:  # nothing was asked yet that could be understood
            return True
        # While its body comes, unless it was answered early; or between two requests.
        if self.cycle.more_body:
            return not self.cycle.response_started
        return self.cycle.response_complete

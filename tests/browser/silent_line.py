"""A line between browser and service that can die without a word, as lines on a field do.

Nothing is closed and nothing refused: what was sent is swallowed, and no answer ever comes. What
died stays dead, also when new connections get through again.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(eq=False)
class Connection:
    """One connection of a browser's, and what it has asked for so far."""

    is_dead: bool
    asked: bytes = b""

    async def ask(self, come: asyncio.StreamReader, go: asyncio.StreamWriter) -> None:
        while data := await come.read(65_536):
            self.asked += data
            if not self.is_dead:
                go.write(data)
        go.close()

    async def answer(self, come: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        while data := await come.read(65_536):
            if not self.is_dead:
                back.write(data)
        if not self.is_dead:
            back.close()


class Line:
    """What lies between; `port` is where browsers come in."""

    def __init__(self, to: int) -> None:
        self._to = to
        self._connections: list[Connection] = []
        self._is_dead = False
        self.port = 0

    def die(self) -> None:
        """All that is connected, and whatever connects from now on."""
        self._is_dead = True
        for one in self._connections:
            one.is_dead = True

    def heal(self) -> None:
        """New connections get through."""
        self._is_dead = False

    def die_where(self, asked: bytes) -> None:
        """Only those that have asked for this; there must be one."""
        meant = [one for one in self._connections if asked in one.asked and not one.is_dead]
        assert meant, f"nobody has asked for {asked!r}"
        for one in meant:
            one.is_dead = True

    async def serve(self, opened: threading.Event, over: asyncio.Event) -> None:
        server = await asyncio.start_server(self._connect, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        opened.set()
        await over.wait()
        server.close()

    async def _connect(self, come: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        one = Connection(is_dead=self._is_dead)
        self._connections.append(one)
        ends = [back]
        try:
            answers, go = await asyncio.open_connection("127.0.0.1", self._to)
            ends.append(go)
            await asyncio.gather(one.ask(come, go), one.answer(answers, back))
        except OSError:
            pass  # the service is gone, or the browser
        finally:
            for end in ends:
                end.close()


@contextmanager
def a_line(to: int) -> Iterator[Line]:
    """A line to a port of this machine, for as long as a test lasts."""
    line, opened, over = Line(to), threading.Event(), asyncio.Event()
    loops: list[asyncio.AbstractEventLoop] = []

    async def serve() -> None:
        loops.append(asyncio.get_running_loop())
        await line.serve(opened, over)

    thread = threading.Thread(target=lambda: asyncio.run(serve()), daemon=True)
    thread.start()
    assert opened.wait(10)
    try:
        yield line
    finally:
        loops[0].call_soon_threadsafe(over.set)
        thread.join(10)

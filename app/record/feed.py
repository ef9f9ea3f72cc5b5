"""The live feed: the record read from a seq onward, shown to those who may follow it.

The writer says "this meet has a new head" after each commit; readers wake and read the record from
where they were. A reader that lost the line says its last seq and misses nothing. Where several
processes write (PostgreSQL), a reader also looks every second, so that it never depends on having
been woken.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

from sqlalchemy import Connection

from app.ids import MeetId, OfficialId, SessionId
from app.record.kinds import KINDS
from app.record.queries import FeedEntry, entries_after, with_owner
from app.refusals import TooManyStreams
from app.roles import Role
from app.store.action import Committed
from app.store.store import Store

LOOK_EVERY = 1.0
PING_EVERY = 15.0
BATCH = 200
MOST_STREAMS = 4
"""Open at once for a session, in one process: a page in a few windows, and a line that was lost."""

NextEntries: TypeAlias = Callable[[Connection], list[FeedEntry]]


@dataclass(eq=False, slots=True)
class Reader:
    """One open stream: wakes when its meet's record grew or the server stops."""

    meet_id: MeetId
    wake: asyncio.Event


@dataclass(frozen=True, slots=True)
class Follower:
    """Who follows what: after which seq, at which head of the record, and in which roles."""

    meet_id: MeetId
    official_id: OfficialId
    after: int
    head: int
    roles_now: Callable[[], Awaitable[frozenset[Role] | None]]


class Feed:
    """The open streams of this process."""

    def __init__(self) -> None:
        self._readers: set[Reader] = set()
        self._by_session: Counter[SessionId] = Counter()
        self._turn = asyncio.Lock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self.stopping = False

    def start(self) -> None:
        """Remember the event loop that the streams run on."""
        self._loop = asyncio.get_running_loop()

    @property
    def open_streams(self) -> int:
        return len(self._readers)

    def notify(self, committed: Committed) -> None:
        """Called from the writer's thread after a commit."""
        if self._loop is not None and self._readers:
            self._loop.call_soon_threadsafe(self._wake, frozenset(committed.sizes))

    def _wake(self, meets: frozenset[MeetId]) -> None:
        for reader in self._readers:
            if reader.meet_id in meets:
                reader.wake.set()

    def stop(self) -> None:
        """End all streams with a farewell; safe to call from a signal handler."""
        self.stopping = True
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._wake_all)

    def _wake_all(self) -> None:
        for reader in self._readers:
            reader.wake.set()

    @contextmanager
    def one_more_for(self, session: SessionId) -> Iterator[None]:
        """Count a stream of this session for as long as it is open; TooManyStreams for a fifth."""
        if self._by_session[session] >= MOST_STREAMS:
            raise TooManyStreams(
                f"This session has {MOST_STREAMS} live feeds open, which is as many as it may. "
                "Close one first; one whose line was lost is closed within a minute."
            )
        self._by_session[session] += 1
        try:
            yield
        finally:
            self._by_session[session] -= 1
            if not self._by_session[session]:
                del self._by_session[session]

    async def follow(self, store: Store, follower: Follower) -> AsyncIterator[str]:
        """Server-sent events from a place on, until the server stops or the reader may not."""
        reader = Reader(follower.meet_id, asyncio.Event())
        self._readers.add(reader)
        loop = asyncio.get_running_loop()
        last_sign = loop.time()
        after = min(follower.after, follower.head)
        catching_up = True
        try:
            yield "retry: 1000\n\n"
            if follower.after > follower.head:
                yield _reset_to(follower.head)
            while not self.stopping:
                reader.wake.clear()
                roles = await follower.roles_now()
                if roles is None:
                    yield 'event: ended\ndata: {"reason":"this session has ended"}\n\n'
                    return
                query = partial(_next_entries, meet_id=follower.meet_id, after=after)
                if catching_up:
                    entries = await self._read_in_turn(store, query)
                else:
                    entries = await store.read(query)
                may = partial(may_follow, official=follower.official_id, roles=roles)
                shown = "".join(as_event(entry) for entry in entries if may(entry))
                if entries:
                    after = entries[-1].seq
                if not shown and loop.time() - last_sign > PING_EVERY:
                    shown = ": still here\n\n"
                if shown:
                    last_sign = loop.time()
                    yield shown
                catching_up = len(entries) == BATCH
                if not catching_up:
                    await self._wait(reader)
            yield 'event: bye\ndata: {"reason":"the server is shutting down"}\n\n'
        finally:
            self._readers.discard(reader)

    async def _read_in_turn(self, store: Store, query: NextEntries) -> list[FeedEntry]:
        """One reader after another, and all else that waits in between.

        A read on SQLite does not let go of the event loop, so that many readers that catch up would
        keep it to themselves.
        """
        async with self._turn:
            await asyncio.sleep(0)
            return [] if self.stopping else await store.read(query)

    async def _wait(self, reader: Reader) -> None:
        with suppress(TimeoutError):
            await asyncio.wait_for(reader.wake.wait(), LOOK_EVERY)


def _next_entries(conn: Connection, meet_id: MeetId, after: int) -> list[FeedEntry]:
    entries = entries_after(conn, meet_id, after, BATCH)
    return [with_owner(conn, meet_id, one) for one in entries]


def may_follow(entry: FeedEntry, official: OfficialId, roles: frozenset[Role]) -> bool:
    """Whether this official with these roles sees this entry live."""
    return entry.owner == official or not KINDS[entry.kind].followers.isdisjoint(roles)


def as_event(entry: FeedEntry) -> str:
    """One entry as a server-sent event; its id is its seq."""
    return f"id: {entry.seq}\nevent: entry\ndata: {entry.entry}\n\n"


def _reset_to(size: int) -> str:
    """Said to a reader whose place lies beyond the record, as after a restore from a copy."""
    reason = f"the record ends at {size}, before your place: read again what you show"
    return f'id: {size}\nevent: reset\ndata: {{"reason":"{reason}","size":{size}}}\n\n'

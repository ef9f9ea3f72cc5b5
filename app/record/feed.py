"""The live feed: what the record grows by, shown to those who may follow it.

Each meet that is followed has one tail: what its record grew by lately, read once and encoded once
for all its readers. The writer says how far the record reaches after each commit, in this process
and, by way of the database, in all others; the tail is filled from the record. Who waits at its end
is handed what came at once; the others wake, and take it in their turn. A reader that lost the
line, or was too slow, says its last seq and misses nothing: what the tail no longer has comes from
the record. Nobody depends on having been told: a tail also looks by itself.
"""

from __future__ import annotations

import asyncio
import itertools
from collections import Counter, deque
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from time import monotonic
from typing import TypeAlias

from sqlalchemy import Connection

from app.ids import MeetId, OfficialId, SessionId
from app.record.kinds import CHANGES_ACCESS, KINDS
from app.record.queries import FeedEntry, entries_after, with_owner
from app.refusals import TooManyStreams, Unavailable
from app.roles import Role
from app.store.store import Store

LOOK_EVERY = 1.0
"""Seconds between two looks of a tail that might not be told of commits."""
LOOKS_WHERE_TOLD = 15
"""One in so many is made where it is told."""
TURNS = 5
"""At each look one reader in so many sees whether it is due a sign, or its session has ended."""
PING_AFTER = 10.0
CHECK_AFTER = 60.0
"""Seconds until a session is looked at that nothing was done to: its time may be over."""
BATCH = 200
KEPT = 200
"""Entries of a meet that are kept at hand: some 100 KB, and more than a busy minute brings."""
MOST_STREAMS = 4
"""Open at once for a session, in one process: a page in a few windows, and a line that was lost."""

AT_A_TIME = 250
"""Readers who are told of something before all else that waits has its turn."""

NextEntries: TypeAlias = Callable[[Connection], list[FeedEntry]]
HandOver: TypeAlias = Callable[[bytes], bool]
"""Sends events down a line if it takes them without waiting; says whether it did."""


@dataclass(frozen=True, slots=True)
class Told:
    """An entry as it is sent, with what decides who sees it."""

    seq: int
    event: bytes
    followers: frozenset[Role]
    owner: OfficialId | None
    changes_access: bool


@dataclass(frozen=True, slots=True)
class Follower:
    """Who follows what: after which seq, at which head of the record, and in which roles."""

    meet_id: MeetId
    official_id: OfficialId
    after: int
    head: int
    roles_now: Callable[[], Awaitable[frozenset[Role] | None]]


@dataclass(eq=False, slots=True)
class Reader:
    """One open stream: wakes when its meet's record grew, in its turn, or when the server stops."""

    turn: int
    official_id: OfficialId
    after: int
    """The seq of the newest entry that it was told of, or that was not for it."""
    hand_over: HandOver | None
    last_sign: float
    checked: float = 0.0
    """When its session was looked at last."""
    roles: frozenset[Role] = frozenset()
    rests: bool = False
    """Whether it waits, and was told of all before."""
    is_beyond: bool = False
    """Whether the record was found to end before its place."""
    wake: asyncio.Event = field(default_factory=asyncio.Event)

    def may_see(self, told: Told) -> bool:
        """Whether this official with these roles sees this entry live."""
        return told.owner == self.official_id or not told.followers.isdisjoint(self.roles)


@dataclass(slots=True)
class News:
    """What came after an entry, written once for all who see the same of it."""

    after: int
    told: Sequence[Told]
    at: float
    _owners: frozenset[OfficialId | None] = field(init=False)
    _by_roles: dict[frozenset[Role], bytes] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._owners = frozenset(one.owner for one in self.told)

    def hand_to(self, reader: Reader) -> bool:
        """Give it to a reader who can take it now; False for one who is to wake and look."""
        if not reader.rests or reader.after != self.after or reader.hand_over is None:
            return False
        if self.at - reader.checked > CHECK_AFTER:
            return False
        mine = self._for(reader)
        if mine:
            if not reader.hand_over(mine):
                return False
            reader.last_sign = self.at
        reader.after = self.told[-1].seq
        return True

    def _for(self, reader: Reader) -> bytes:
        if reader.official_id in self._owners:
            return seen_by(reader, self.told)
        known = self._by_roles.get(reader.roles)
        if known is None:
            known = self._by_roles[reader.roles] = seen_by(reader, self.told)
        return known


class Tail:
    """The end of one meet's record, for all who follow it in this process."""

    def __init__(self, meet_id: MeetId, size: int) -> None:
        self.meet_id = meet_id
        self.size = size
        """The seq of the newest entry that was looked at."""
        self.reaches = size
        """How far the record is known to reach."""
        self.failed = False
        """Whether it could not be read the last time, and is to be read again at the next look."""
        self.behind_since: float | None = None
        """When the oldest entry was committed that is not given out yet."""
        self.filling: asyncio.Task[None] | None = None
        self.readers: set[Reader] = set()
        self._kept: deque[Told] = deque(maxlen=KEPT)

    async def grow(self, entries: Sequence[FeedEntry]) -> None:
        """Take what came after the newest entry, and tell the readers."""
        if not entries:
            return
        told = [as_told(entry) for entry in entries]
        news = News(self.size, told, asyncio.get_running_loop().time())
        self._kept.extend(told)
        self.size = told[-1].seq
        # Before what came with it is shown: roles change at once, so each looks for itself.
        by_hand = not any(one.changes_access for one in told)
        for number, reader in enumerate(list(self.readers), start=1):
            if not (by_hand and news.hand_to(reader)):
                reader.wake.set()
            if number % AT_A_TIME == 0:
                await asyncio.sleep(0)

    def fall_back_to(self, size: int) -> None:
        """The record ends there, and not where this tail did: it was put back, or its head was
        wrong. Readers beyond that are told so.
        """
        self.size = self.reaches = size
        self.behind_since = None
        self._kept.clear()
        for reader in self.readers:
            reader.is_beyond = reader.after > size
            reader.wake.set()

    def after(self, seq: int) -> list[Told] | None:
        """What came after an entry, in order; None where some of that is no longer at hand."""
        behind = self.size - seq
        if behind > len(self._kept):
            return None
        return [self._kept[-place] for place in range(behind, 0, -1)]


@dataclass(frozen=True, slots=True)
class Lateness:
    """What is stored and not given out: how many entries, for how long. And how late all were that
    have been given out: how many times, how many seconds together.
    """

    entries: int
    seconds: float
    times: int
    lag: float


class Feed:
    """The open streams of this process."""

    def __init__(self) -> None:
        self._tails: dict[MeetId, Tail] = {}
        self._by_session: Counter[SessionId] = Counter()
        self._turns = itertools.cycle(range(TURNS))
        self._catching_up = asyncio.Lock()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._store: Store
        self._looking: asyncio.Task[None]
        self._is_told = False
        """Whether every commit is told of, those of other processes too."""
        self._times, self._lag = 0, 0.0
        self.stopping = False

    def start(self, store: Store) -> None:
        """Remember the event loop that the streams run on, and begin to look."""
        self._loop, self._store = asyncio.get_running_loop(), store
        self._looking = self._loop.create_task(self._look())

    @property
    def open_streams(self) -> int:
        return sum(len(tail.readers) for tail in self._tails.values())

    def reach(self, sizes: Mapping[MeetId, int]) -> None:
        """How far these records reach after a commit; from any thread."""
        if self._tails:
            self._soon(self._reach, sizes, monotonic())

    def hear(self, is_told: bool) -> None:
        """Whether commits of other processes are told of from now on; from any thread."""
        self._soon(self._hear, is_told)

    def _soon(self, act: Callable[..., object], *what: object) -> None:
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(act, *what)

    def _hear(self, is_told: bool) -> None:
        self._is_told = is_told
        for tail in self._tails.values():
            self._fill_soon(tail)

    def _reach(self, sizes: Mapping[MeetId, int], at: float) -> None:
        for meet, size in sizes.items():
            tail = self._tails.get(meet)
            if tail is not None and size > tail.reaches:
                tail.reaches = size
                if tail.behind_since is None:
                    tail.behind_since = at
                self._fill_soon(tail)

    def _fill_soon(self, tail: Tail) -> None:
        if tail.filling is None:
            tail.filling = asyncio.ensure_future(self._fill(tail))

    async def _fill(self, tail: Tail) -> None:
        """Read on until the record has nothing more, once for all who follow it."""
        try:
            more = True
            while more:
                reached = tail.reaches
                query = partial(_next_entries, meet_id=tail.meet_id, after=tail.size)
                entries = await self._store.read(query)
                tail.failed = False
                await tail.grow(entries)
                self._measure(tail)
                # Told meanwhile of more: it may have been committed after this look.
                more = len(entries) == BATCH or (
                    tail.size < tail.reaches and (bool(entries) or tail.reaches > reached)
                )
        except Unavailable:
            tail.failed = True
        finally:
            tail.filling = None

    def _measure(self, tail: Tail) -> None:
        if tail.behind_since is not None and tail.size >= tail.reaches:
            self._times += 1
            self._lag += monotonic() - tail.behind_since
            tail.behind_since = None

    def lateness(self) -> Lateness:
        """How late those who follow are told."""
        now, entries, seconds = monotonic(), 0, 0.0
        for tail in self._tails.values():
            if tail.behind_since is not None:
                entries += tail.reaches - tail.size
                seconds = max(seconds, now - tail.behind_since)
        return Lateness(entries, seconds, self._times, self._lag)

    async def _look(self) -> None:
        """Look by itself, so that nobody waits for ever for a word that was lost."""
        for number in itertools.count():
            await asyncio.sleep(LOOK_EVERY)
            if self.stopping:
                return
            by_itself = not self._is_told or number % LOOKS_WHERE_TOLD == 0
            for tail in list(self._tails.values()):
                if by_itself or tail.failed or tail.size < tail.reaches:
                    self._fill_soon(tail)
                for reader in tail.readers:
                    if reader.turn == number % TURNS:
                        reader.wake.set()

    def stop(self) -> None:
        """End all streams with a farewell; safe to call from a signal handler."""
        self.stopping = True
        self._soon(self._wake_all)

    def _wake_all(self) -> None:
        for tail in self._tails.values():
            for reader in tail.readers:
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

    async def follow(
        self, follower: Follower, hand_over: HandOver | None = None
    ) -> AsyncGenerator[bytes, None]:
        """Server-sent events from a place on, until the server stops or the reader may not.

        While nothing of it is under way, events may go by `hand_over` instead.
        """
        now = asyncio.get_running_loop().time
        after = min(follower.after, follower.head)
        official, turn = follower.official_id, next(self._turns)
        reader = Reader(turn, official, after, hand_over, last_sign=now())
        tail = self._join(reader, follower)
        try:
            yield b"retry: 1000\n\n"
            if follower.after > follower.head:
                yield _reset_to(follower.head)
            roles = await follower.roles_now()
            reader.checked = now()
            while not self.stopping:
                reader.wake.clear()
                if reader.is_beyond:
                    reader.is_beyond, reader.after = False, tail.size
                    yield _reset_to(tail.size)
                told = await self._came_since(reader, tail)
                # Before what came with it is shown: roles change at once.
                if any(one.changes_access for one in told) or now() - reader.checked > CHECK_AFTER:
                    roles, reader.checked = await follower.roles_now(), now()
                if roles is None:
                    yield b'event: ended\ndata: {"reason":"this session has ended"}\n\n'
                    return
                reader.roles = roles
                mine = seen_by(reader, told)
                if mine or now() - reader.last_sign > PING_AFTER:
                    reader.last_sign = now()
                    yield mine or b": still here\n\n"
                if told:
                    reader.after = told[-1].seq
                if reader.after >= tail.size and not self.stopping:
                    reader.rests = True
                    await reader.wake.wait()
                    reader.rests = False
            yield b'event: bye\ndata: {"reason":"the server is shutting down"}\n\n'
        finally:
            reader.rests = False
            self._leave(reader, tail)

    def _join(self, reader: Reader, follower: Follower) -> Tail:
        tail = self._tails.get(follower.meet_id)
        if tail is None:
            tail = self._tails[follower.meet_id] = Tail(follower.meet_id, follower.head)
            # What was stored between the look at the head and now was told to nobody.
            self._fill_soon(tail)
        tail.readers.add(reader)
        return tail

    def _leave(self, reader: Reader, tail: Tail) -> None:
        tail.readers.discard(reader)
        if not tail.readers and self._tails.get(tail.meet_id) is tail:
            del self._tails[tail.meet_id]

    async def _came_since(self, reader: Reader, tail: Tail) -> list[Told]:
        told = tail.after(reader.after)
        if told is None:
            told = await self._catch_up(tail.meet_id, reader.after)
            if not told and not self.stopping:
                tail.fall_back_to(reader.after)
        return told

    async def _catch_up(self, meet_id: MeetId, after: int) -> list[Told]:
        """From the record: one reader after another, and all else that waits in between.

        A read on SQLite does not let go of the event loop, so that many readers that catch up would
        keep it to themselves.
        """
        async with self._catching_up:
            await asyncio.sleep(0)
            if self.stopping:
                return []
            query = partial(_next_entries, meet_id=meet_id, after=after)
            return [as_told(entry) for entry in await self._store.read(query)]


def _next_entries(conn: Connection, meet_id: MeetId, after: int) -> list[FeedEntry]:
    entries = entries_after(conn, meet_id, after, BATCH)
    return [with_owner(conn, meet_id, one) for one in entries]


def as_told(entry: FeedEntry) -> Told:
    """One entry as a server-sent event; its id is its seq."""
    event = f"id: {entry.seq}\nevent: entry\ndata: {entry.entry}\n\n".encode()
    followers, changes = KINDS[entry.kind].followers, entry.kind in CHANGES_ACCESS
    return Told(entry.seq, event, followers, entry.owner, changes)


def seen_by(reader: Reader, told: Sequence[Told]) -> bytes:
    """Of what came, what a reader may see, as it is sent."""
    return b"".join([one.event for one in told if reader.may_see(one)])


def _reset_to(size: int) -> bytes:
    """Said to a reader whose place lies beyond the record, as after a restore from a copy."""
    reason = f"the record ends at {size}, before your place: read again what you show"
    return f'id: {size}\nevent: reset\ndata: {{"reason":"{reason}","size":{size}}}\n\n'.encode()

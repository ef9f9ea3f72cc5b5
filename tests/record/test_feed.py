"""The live feed: complete, in order, only for those who may follow, and it ends when told to."""

from __future__ import annotations

import asyncio
import itertools
import json
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from types import SimpleNamespace
from typing import cast

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.types import Message

from app.access.guard import Admitted
from app.attended import PAST_LAYERS
from app.ids import MeetId, OfficialId, SessionId, new_id
from app.record.feed import (
    AT_A_TIME,
    BATCH,
    LOOK_EVERY,
    MOST_STREAMS,
    Feed,
    Follower,
    Lateness,
    News,
    Reader,
    Told,
)
from app.record.kinds import Kind
from app.record.queries import FeedEntry
from app.record.routes import LiveFeed
from app.refusals import Unavailable
from app.roles import Role
from app.store.store import Store
from tests.builders import MeetAtHand, Person, a_call, a_problem


@contextmanager
def following(person: Person, *, last: int | None = None) -> Iterator[Iterator[dict[str, str]]]:
    headers = {"Authorization": f"Bearer {person.token}"}
    if last is not None:
        headers["Last-Event-ID"] = str(last)
    address = f"/api/meets/{person.meet}/feed"
    with person.http.stream("GET", address, headers=headers, timeout=10) as stream:
        assert stream.status_code == 200
        yield _events(stream)


def _events(stream: httpx.Response) -> Iterator[dict[str, str]]:
    event: dict[str, str] = {}
    for line in stream.iter_lines():
        if line.startswith(":"):
            continue
        if line:
            name, _, value = line.partition(": ")
            event[name] = value
        elif "data" in event:
            yield event
            event = {}
        else:
            event = {}


def test_a_reader_from_the_start_gets_every_entry_in_order(meet: MeetAtHand) -> None:
    head = meet.referee.get("record/head").json()["size"]
    seen = []
    with following(meet.organiser, last=0) as events:
        for event in events:
            seen.append(int(event["id"]))
            if seen[-1] == head:
                break
    assert seen == list(range(1, head + 1))


def test_a_new_flag_appears_by_itself(meet: MeetAtHand) -> None:
    with following(meet.referee) as events:
        flag = threading.Timer(
            0.2,
            lambda: meet.umpire.put(
                f"calls/{new_id()}", a_call(meet.heat(), meet.posts["umpire"], "yellow", lane=4)
            ),
        )
        flag.start()
        entry = json.loads(next(events)["data"])
        flag.join()
    assert entry["kind"] == "call"


def test_a_reader_that_lost_the_line_misses_nothing_and_sees_nothing_twice(
    meet: MeetAtHand,
) -> None:
    before = meet.referee.get("record/head").json()["size"]
    for _ in range(3):
        meet.report(lane=3)
    with following(meet.referee, last=before) as events:
        first = int(next(events)["id"])
    with following(meet.referee, last=first) as events:
        rest = [int(next(events)["id"]) for _ in range(2)]
    assert [first, *rest] == [before + 1, before + 2, before + 3]


def test_umpires_do_not_follow_reports(meet: MeetAtHand) -> None:
    before = meet.referee.get("record/head").json()["size"]
    meet.report()
    meet.start()
    with following(meet.umpire, last=before) as events:
        kinds = [json.loads(next(events)["data"])["kind"]]
    assert kinds == ["heat started"]


def test_a_question_back_is_told_to_the_umpire_whose_report_it_is_and_to_no_other(
    meet: MeetAtHand,
) -> None:
    before = meet.referee.get("record/head").json()["size"]
    report = meet.report()
    version = meet.umpire.get(f"reports/{report['id']}").headers["ETag"]
    question = {"reason": "Who pushed?"}
    meet.referee.post(f"reports/{report['id']}/return", question, etag=version)
    meet.start()

    def told(person: Person, number: int) -> list[str]:
        with following(person, last=before) as events:
            return [json.loads(next(events)["data"])["kind"] for _ in range(number)]

    assert told(meet.umpire, 2) == ["report returned", "heat started"]
    assert told(meet["second"], 1) == told(meet["jury"], 1) == ["heat started"]


def test_a_stream_ends_when_its_session_ends(meet: MeetAtHand) -> None:
    with following(meet["jury"]) as events:
        meet["jury"].send("DELETE", "/api/me/session")
        assert next(events)["event"] == "ended"


def opened(person: Person, number: int, stack: ExitStack) -> list[int]:
    """The statuses of that many feeds, opened one after another and kept open."""
    headers = {"Authorization": f"Bearer {person.token}"}
    address = f"/api/meets/{person.meet}/feed"
    return [
        stack.enter_context(person.http.stream("GET", address, headers=headers)).status_code
        for _ in range(number)
    ]


def test_a_session_keeps_a_few_feeds_open_and_is_told_when_it_asks_for_more(
    meet: MeetAtHand,
) -> None:
    with ExitStack() as stack:
        assert opened(meet.referee, MOST_STREAMS, stack) == [200] * MOST_STREAMS
        told = a_problem(meet.referee.get("feed"), 429, "too-many-streams")
        assert str(MOST_STREAMS) in told["detail"]
        assert opened(meet["jury"], 1, stack) == [200]
    # The server learns a moment later that they were closed.
    for _ in range(100):
        with ExitStack() as stack:
            if opened(meet.referee, 1, stack) == [200]:
                return
        time.sleep(0.02)
    pytest.fail("feeds that were closed are still counted")


def test_asking_for_the_head_of_a_feed_leaves_none_open(meet: MeetAtHand) -> None:
    for _ in range(MOST_STREAMS + 2):
        assert meet.referee.send("HEAD", "feed").status_code == 200


def test_a_reader_ahead_of_the_record_is_told_so_and_goes_on_from_its_end(
    meet: MeetAtHand,
) -> None:
    """As after a restore: what the reader knows beyond the end is no longer so."""
    head = meet.head()["size"]
    with following(meet.referee, last=head + 1000) as events:
        told = next(events)
        assert (told["event"], told["id"]) == ("reset", str(head))
        assert json.loads(told["data"])["size"] == head
        meet.start()
        assert int(next(events)["id"]) == head + 1


def test_a_reader_at_the_end_of_the_record_is_told_of_no_reset(meet: MeetAtHand) -> None:
    head = meet.head()["size"]
    with following(meet.referee, last=head) as events:
        meet.start()
        assert next(events)["event"] == "entry"


class ARecord:
    """A store whose only meet has a record of so many entries; counts who reads them."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.reads = 0

    async def read(self, query: partial[list[FeedEntry]]) -> list[FeedEntry]:
        self.reads += 1
        after = query.keywords["after"]
        seqs = range(after + 1, min(after + BATCH, self.size) + 1)
        return [FeedEntry(seq, Kind.CALL, "{}") for seq in seqs]


async def everything() -> frozenset[Role]:
    await asyncio.sleep(0)  # as where the database is asked
    return frozenset(Role)


def a_follower(after: int, head: int) -> Follower:
    return Follower(MeetId("m"), OfficialId("o"), after, head, everything)


def seqs_in(came: bytes) -> list[int]:
    return [int(line[4:]) for line in came.decode().splitlines() if line.startswith("id: ")]


def test_an_entry_is_read_and_written_once_for_however_many_readers() -> None:
    record = ARecord(1_000)

    async def run() -> list[bytes]:
        feed = Feed()
        feed.start(cast(Store, record))
        streams = [feed.follow(a_follower(1_000, 1_000)) for _ in range(50)]
        for stream in streams:
            await anext(stream)  # the greeting
        waiting = [asyncio.ensure_future(anext(stream)) for stream in streams]
        await asyncio.sleep(0.01)
        record.reads, record.size = 0, 1_003
        feed.reach({MeetId("m"): 1_003})
        return await asyncio.gather(*waiting)

    came = asyncio.run(run())
    assert {tuple(seqs_in(one)) for one in came} == {(1_001, 1_002, 1_003)}
    assert record.reads == 1


class Readers:
    """Read a record of 700 entries that grows, until all of them together have so many."""

    def __init__(self, feed: Feed, due: int, takes: Iterator[bool]) -> None:
        self._feed, self._due, self._takes = feed, due, takes
        self.have_all = asyncio.Event()
        if not due:
            self.have_all.set()

    async def read_from(self, start: int) -> list[int]:
        """What a reader was told from this place on; its line takes some of what it is handed."""
        seen: list[int] = []

        def hand_over(came: bytes) -> bool:
            is_taken = next(self._takes)
            if is_taken:
                self._take(seen, came)
            return is_taken

        async for came in self._feed.follow(a_follower(start, 700), hand_over):
            if len(seen) % 3:
                await asyncio.sleep(0)
            self._take(seen, came)
        return seen

    def _take(self, seen: list[int], came: bytes) -> None:
        seqs = seqs_in(came)
        seen += seqs
        self._due -= len(seqs)
        if self._due <= 0:
            self.have_all.set()


@given(
    starts=st.lists(st.integers(0, 700) | st.just(700), min_size=1, max_size=5),
    grows=st.lists(st.integers(1, 500), max_size=6),
    takes=st.lists(st.booleans(), min_size=1, max_size=7),
    turns=st.integers(1, 6),
)
def test_wherever_readers_begin_and_however_fast_the_record_grows_each_gets_all_in_order(
    starts: list[int], grows: list[int], takes: list[bool], turns: int
) -> None:
    """Also those who fall behind by more than is kept at hand, and whether or not their lines take
    what they are handed.
    """
    record = ARecord(700)
    whole = 700 + sum(grows)

    async def run() -> list[list[int]]:
        feed = Feed()
        feed.start(cast(Store, record))
        readers = Readers(feed, sum(whole - start for start in starts), itertools.cycle(takes))
        reading = [asyncio.ensure_future(readers.read_from(start)) for start in starts]
        for more in grows:
            for _ in range(turns):
                await asyncio.sleep(0)
            record.size += more
            feed.reach({MeetId("m"): record.size})
        await asyncio.wait_for(readers.have_all.wait(), 2)
        feed.stop()
        return await asyncio.gather(*reading)

    assert asyncio.run(run()) == [list(range(start + 1, whole + 1)) for start in starts]


def test_who_waits_at_the_end_is_handed_what_came_and_is_not_woken_for_it() -> None:
    """A line that takes nothing has it from its own stream, once."""
    record = ARecord(1_000)
    handed: list[list[int]] = [[] for _ in range(5)]

    def into(seqs: list[int], came: bytes) -> bool:
        seqs += seqs_in(came)
        return True

    async def run() -> list[list[int]]:
        feed = Feed()
        feed.start(cast(Store, record))
        streams = [feed.follow(a_follower(1_000, 1_000), partial(into, one)) for one in handed]
        streams.append(feed.follow(a_follower(1_000, 1_000), lambda _: False))
        for stream in streams:
            await anext(stream)  # the greeting
        waiting = [asyncio.ensure_future(anext(stream)) for stream in streams]
        for size in (1_001, 1_003):
            await asyncio.sleep(0.01)
            record.size = size
            feed.reach({MeetId("m"): size})
        await asyncio.sleep(0.01)
        *others, refusing = waiting
        assert not any(one.done() for one in others)
        first, second = await refusing, await anext(streams[-1])
        feed.stop()
        farewells = await asyncio.gather(*others)
        assert {one.partition(b"\n")[0] for one in farewells} == {b"event: bye"}
        return [seqs_in(first), seqs_in(second)]

    assert asyncio.run(run()) == [[1_001], [1_002, 1_003]]
    assert handed == [[1_001, 1_002, 1_003]] * 5


def test_nothing_is_handed_over_while_the_stream_itself_sends(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As where a sign that the server is still there waits on a full line."""
    monkeypatch.setattr("app.record.feed.LOOK_EVERY", 0.005)
    monkeypatch.setattr("app.record.feed.PING_AFTER", 0.0)
    handed: list[bytes] = []

    def hand_over(came: bytes) -> bool:
        handed.append(came)
        return True

    async def run() -> bytes:
        record, feed = ARecord(1_000), Feed()
        feed.start(cast(Store, record))
        stream = feed.follow(a_follower(1_000, 1_000), hand_over)
        await anext(stream)
        assert await anext(stream) == b": still here\n\n"
        assert await anext(stream) == b": still here\n\n"
        record.size = 1_001
        feed.reach({MeetId("m"): 1_001})
        await asyncio.sleep(0.05)
        return await anext(stream)

    assert seqs_in(asyncio.run(run())) == [1_001]
    assert handed == []


def test_a_tail_that_begins_beyond_the_record_falls_back_to_it() -> None:
    """As where a head was wrong, or an older copy was put back under a server that runs."""
    record = ARecord(1_000)

    async def run() -> tuple[bytes, bytes, int, list[int]]:
        feed = Feed()
        feed.start(cast(Store, record))
        beyond = feed.follow(a_follower(10**9, 10**9))
        sound = feed.follow(a_follower(1_000, 1_000))
        for stream in (beyond, sound):
            await anext(stream)
        waiting = [asyncio.ensure_future(anext(stream)) for stream in (beyond, sound)]
        await asyncio.sleep(0.05)
        reads = record.reads
        await asyncio.sleep(0.05)
        reads = record.reads - reads
        assert waiting[0].done()
        reset = await waiting[0]
        waiting[0] = asyncio.ensure_future(anext(beyond))
        await asyncio.sleep(0.01)
        record.size = 1_001
        feed.reach({MeetId("m"): 1_001})
        first, second = await asyncio.gather(*waiting)
        feed.stop()
        return reset, first, reads, seqs_in(second)

    reset, first, reads, second = asyncio.run(asyncio.wait_for(run(), 5))
    assert reset.startswith(b"id: 1000\nevent: reset\n")
    assert seqs_in(first) == second == [1_001]
    assert reads == 0, "nobody asks again and again"


def test_only_who_may_see_an_entry_is_handed_it() -> None:
    """Whoever it is of sees it, whatever the others in the same roles see."""
    told = [
        Told(8, b"for umpires\n", frozenset({Role.UMPIRE}), None, changes_access=False),
        Told(9, b"of Ada alone\n", frozenset({Role.REFEREE}), OfficialId("ada"), False),
    ]
    handed: dict[str, list[bytes]] = {}

    def a_reader(name: str, role: Role) -> Reader:
        def hand_over(came: bytes) -> bool:
            handed.setdefault(name, []).append(came)
            return True

        return Reader(0, OfficialId(name), 7, hand_over, 0.0, 95.0, frozenset({role}), rests=True)

    news = News(after=7, told=told, at=100.0)
    who = [
        ("ada", Role.UMPIRE),
        ("ben", Role.UMPIRE),
        ("cleo", Role.REFEREE),
        ("dan", Role.RESULTS),
    ]
    for order in (who, who[::-1]):
        readers = {name: a_reader(name, role) for name, role in order}
        assert all(news.hand_to(reader) for reader in readers.values())
        assert {reader.after for reader in readers.values()} == {9}
        signs = {name: reader.last_sign for name, reader in readers.items()}
        assert signs == {"ada": 100.0, "ben": 100.0, "cleo": 100.0, "dan": 0.0}
    assert handed == {
        "ada": [b"for umpires\nof Ada alone\n"] * 2,
        "ben": [b"for umpires\n"] * 2,
        "cleo": [b"of Ada alone\n"] * 2,
    }


def test_while_many_are_handed_something_others_get_their_turn() -> None:
    readers, handed, most = 3 * AT_A_TIME, 0, 0

    def hand_over(_came: bytes) -> bool:
        nonlocal handed
        handed += 1
        return True

    async def run() -> None:
        nonlocal most
        record, feed = ARecord(1_000), Feed()
        feed.start(cast(Store, record))
        streams = [feed.follow(a_follower(1_000, 1_000), hand_over) for _ in range(readers)]
        for stream in streams:
            await anext(stream)
        waiting = [asyncio.ensure_future(anext(stream)) for stream in streams]
        await asyncio.sleep(0.05)
        record.size = 1_001
        feed.reach({MeetId("m"): 1_001})
        while handed < readers:
            before = handed
            await asyncio.sleep(0)
            most = max(most, handed - before)
        feed.stop()
        await asyncio.gather(*waiting)

    asyncio.run(asyncio.wait_for(run(), 10))
    assert handed == readers
    assert most <= AT_A_TIME


def test_a_session_whose_time_is_over_is_handed_nothing_for_long(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As long as one whose stream is woken for each entry: it is looked at in both ways."""
    monkeypatch.setattr("app.record.feed.CHECK_AFTER", 0.05)
    handed: list[bytes] = []

    async def run() -> bytes:
        record, feed = ARecord(1_000), Feed()
        feed.start(cast(Store, record))
        is_over = False

        async def roles_now() -> frozenset[Role] | None:
            return None if is_over else frozenset(Role)

        def hand_over(came: bytes) -> bool:
            handed.append(came)
            return True

        follower = Follower(MeetId("m"), OfficialId("o"), 1_000, 1_000, roles_now)
        stream = feed.follow(follower, hand_over)
        await anext(stream)
        last = asyncio.ensure_future(anext(stream))
        for size in range(1_001, 1_200):
            await asyncio.sleep(0.01)
            is_over = size > 1_002
            record.size = size
            feed.reach({MeetId("m"): size})
            if last.done():
                break
        return await last

    assert asyncio.run(run()).startswith(b"event: ended")
    assert 2 <= len(handed) < 30


class ALine:
    """A server's line, on which as much fits as is said: else it waits, as ASGI's servers do."""

    def __init__(self) -> None:
        self.fits = asyncio.Event()
        self.fits.set()
        self.fails_with: list[Exception] = []
        self.came = b""

    async def send(self, message: Message) -> None:
        await self.fits.wait()
        if self.fails_with:
            raise self.fails_with.pop()
        self.came += message.get("body", b"")

    async def receive(self) -> Message:
        raise AssertionError("nothing is to be received")

    def followed(self, feed: Feed) -> asyncio.Task[None]:
        caller = SimpleNamespace(session_id=SessionId("s"))
        here = cast(Admitted, SimpleNamespace(feed=feed, caller=caller))
        response = LiveFeed(here, a_follower(1_000, 1_000))

        async def layers(message: Message) -> None:
            assert not message.get("body"), "events go past the layers"

        scope = {"type": "http", "asgi": {"spec_version": "2.4"}, PAST_LAYERS: self.send}
        return asyncio.create_task(response(scope, self.receive, layers))


def test_a_line_that_is_full_or_fails_gets_each_entry_once_and_in_order_when_it_takes_more() -> (
    None
):
    record = ARecord(1_000)

    async def run() -> bytes:
        feed, line = Feed(), ALine()
        feed.start(cast(Store, record))
        following = line.followed(feed)
        for size, then in [(1_001, ""), (1_002, "full"), (1_004, "full"), (1_005, "fails")]:
            line.fits.set()
            await asyncio.sleep(0.01)
            if then == "full":
                line.fits.clear()
            line.fails_with += [TypeError("by hand")] * (then == "fails")
            record.size = size
            feed.reach({MeetId("m"): size})
            await asyncio.sleep(0.01)
        feed.stop()
        await following
        assert feed.open_streams == 0
        return line.came

    came = asyncio.run(run())
    assert seqs_in(came) == [1_001, 1_002, 1_003, 1_004, 1_005]
    assert came.endswith(b'shutting down"}\n\n')


@pytest.mark.parametrize("end", ["gone", "given up"])
def test_a_stream_whose_line_breaks_off_while_it_sends_is_open_no_more(end: str) -> None:
    record = ARecord(1_000)

    async def run() -> int:
        feed, line = Feed(), ALine()
        feed.start(cast(Store, record))
        following = line.followed(feed)
        await asyncio.sleep(0.01)
        line.fits.clear()
        record.size = 1_001
        feed.reach({MeetId("m"): 1_001})
        await asyncio.sleep(0.01)
        assert feed.open_streams == 1
        if end == "gone":
            line.fails_with = [OSError("the line is gone")]
            line.fits.set()
        else:
            following.cancel()
        await asyncio.gather(following, return_exceptions=True)
        return feed.open_streams

    assert asyncio.run(run()) == 0


class ASlowRecord(ARecord):
    """One that answers when it is let."""

    def __init__(self, size: int) -> None:
        super().__init__(size)
        self.go_on = asyncio.Event()

    async def read(self, query: partial[list[FeedEntry]]) -> list[FeedEntry]:
        await self.go_on.wait()
        return await super().read(query)


def test_how_late_those_who_follow_are_told_is_measured_from_the_commit_on() -> None:
    async def run() -> tuple[Lateness, Lateness]:
        record, feed = ASlowRecord(1_000), Feed()
        feed.start(cast(Store, record))
        stream = feed.follow(a_follower(1_000, 1_000))
        await anext(stream)
        record.size = 1_003
        feed.reach({MeetId("m"): 1_002})
        feed.reach({MeetId("m"): 1_003})
        await asyncio.sleep(0)  # the feed hears of it in the loop's next turn
        behind = feed.lateness()
        told = asyncio.ensure_future(anext(stream))
        record.go_on.set()
        assert seqs_in(await told) == [1_001, 1_002, 1_003]
        return behind, feed.lateness()

    behind, after = asyncio.run(run())
    assert (behind.entries, behind.times) == (3, 0)
    assert 0 < behind.seconds < 10
    assert (after.entries, after.seconds, after.times) == (0, 0.0, 1)
    assert behind.seconds <= after.lag < 10


class AFailingRecord(ARecord):
    """One that cannot be read while it is told so."""

    fails = False

    async def read(self, query: partial[list[FeedEntry]]) -> list[FeedEntry]:
        if self.fails:
            raise Unavailable("Its server cannot be reached.")
        return await super().read(query)


def test_an_entry_that_comes_after_a_look_that_failed_is_told_at_once_and_measured() -> None:
    async def run() -> Lateness:
        record, feed = AFailingRecord(1_000), Feed()
        feed.start(cast(Store, record))
        stream = feed.follow(a_follower(1_000, 1_000))
        await anext(stream)
        record.fails = True
        feed.hear(True)  # as when the line to other processes is there again: it looks
        for _ in range(5):
            await asyncio.sleep(0)
        record.fails, record.size = False, 1_001
        feed.reach({MeetId("m"): 1_001})
        async with asyncio.timeout(LOOK_EVERY / 2):
            assert seqs_in(await anext(stream)) == [1_001]
        return feed.lateness()

    assert asyncio.run(run()).times == 1


def test_however_many_readers_catch_up_others_get_their_turn() -> None:
    """Reads do not wait on SQLite, so the loop sees to others only when a reader lets it."""
    turns: Counter[int] = Counter()
    turn = 0

    class Counting(ARecord):
        async def read(self, query: partial[list[FeedEntry]]) -> list[FeedEntry]:
            turns[turn] += query.keywords["after"] < self.size
            return await super().read(query)

    async def run() -> None:
        nonlocal turn
        feed = Feed()
        feed.start(cast(Store, Counting(10_000)))

        async def catch_up() -> None:
            events = feed.follow(a_follower(0, 10_000))
            for _ in range(6):
                await anext(events)
            await events.aclose()  # type: ignore[attr-defined]

        readers = [asyncio.ensure_future(catch_up()) for _ in range(20)]
        while not all(reader.done() for reader in readers):
            await asyncio.sleep(0)
            turn += 1
        await asyncio.gather(*readers)

    asyncio.run(run())
    assert sum(turns.values()) >= 100
    assert max(turns.values()) == 1

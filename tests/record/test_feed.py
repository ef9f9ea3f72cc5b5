"""The live feed: complete, in order, only for those who may follow, and it ends when told to."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import cast

import httpx
import pytest

from app.ids import MeetId, OfficialId, new_id
from app.record.feed import BATCH, MOST_STREAMS, Feed, Follower
from app.record.kinds import Kind
from app.record.queries import FeedEntry
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


def test_however_many_readers_catch_up_others_get_their_turn() -> None:
    """Reads do not wait on SQLite, so the loop sees to others only when a reader lets it."""
    turns: Counter[int] = Counter()

    async def run() -> None:
        feed, turn = Feed(), 0

        class Readable:
            async def read(self, _query: object) -> list[FeedEntry]:
                turns[turn] += 1
                return [FeedEntry(at, Kind.CALL, "{}") for at in range(BATCH)]

        async def everything() -> frozenset[Role]:
            return frozenset(Role)

        async def catch_up() -> None:
            follower = Follower(MeetId("m"), OfficialId("o"), 0, 10_000, everything)
            events = feed.follow(cast(Store, Readable()), follower)
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

"""The live feed: complete, in order, only for those who may follow, and it ends when told to."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import httpx

from app.ids import new_id
from tests.builders import MeetAtHand, Person, a_call


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


def test_a_stream_ends_when_its_session_ends(meet: MeetAtHand) -> None:
    with following(meet["jury"]) as events:
        meet["jury"].send("DELETE", "/api/me/session")
        assert next(events)["event"] == "ended"

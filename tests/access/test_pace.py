"""No session keeps the server from others: changes a minute, files at once.

(OWASP API Security Top 10, 2023: API4; OWASP ASVS 5.0.0: 2.4.1, 15.2.2.) Live feeds are counted in
`tests/record/test_feed.py`, PINs in `test_pins.py`, pictures in `tests/pictures`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.access.pace import MOST_FILES, Pace
from app.access.queries import session_of
from app.access.secrets import hash_secret
from app.ids import SessionId, new_id
from app.refusals import TooMuchAtOnce
from tests.builders import MeetAtHand, a_call, a_meet, a_problem, a_report, add_official
from tests.conftest import NewDatabase
from tests.running import Service, a_service

A_MINUTE = 30
BEGAN = datetime(2026, 6, 13, 12, tzinfo=UTC)
FILES = ("record", "record.zip", "cases/{case}/file.pdf", "cases/{case}/file.zip")


@pytest.fixture(scope="module")
def hurried(new_database: NewDatabase) -> Iterator[Service]:
    with a_service(new_database("sqlite"), changes_a_minute=A_MINUTE) as service:
        yield service


@pytest.fixture
def meet(hurried: Service) -> Iterator[MeetAtHand]:
    yield a_meet(hurried)
    hurried.clock.run_again()


def test_a_flood_of_flags_and_reports_by_one_session_ends_and_nobody_else_is_slowed(
    meet: MeetAtHand,
) -> None:
    meet.service.clock.stand_at(BEGAN)
    statuses, heat, post = [], meet.heat(), meet.posts["umpire"]
    for number in range(A_MINUTE + 5):
        path, sent = (
            (f"reports/{new_id()}", a_report(heat, post, lane=1 + number % 8))
            if number % 2
            else (f"calls/{new_id()}", a_call(heat, post))
        )
        last = meet.umpire.put(path, sent)
        statuses.append(last.status_code)
    assert statuses == [201] * A_MINUTE + [429] * 5
    told = a_problem(last, 429, "too-much-at-once")
    assert "Nothing was stored" in told["detail"]
    assert last.headers["retry-after"] == str(told["retry_after"])
    theirs = sent | {"post": meet.posts["second"]}
    assert meet["second"].put(f"calls/{new_id()}", theirs).status_code == 201
    assert meet.umpire.get("watch").status_code == 200
    other_device = add_official(meet, "other umpire", "umpire")
    assert other_device.put(f"reports/{new_id()}", a_report(heat, post)).status_code == 201
    meet.service.clock.move(timedelta(seconds=told["retry_after"]))
    assert meet.umpire.put(path, sent).status_code == 201


def test_what_comes_behind_the_bound_stores_nothing_whatever_it_is(meet: MeetAtHand) -> None:
    meet.service.clock.stand_at(BEGAN)
    for _ in range(A_MINUTE):
        meet.organiser.post("me/keys/options")
    before = meet.head()
    refused = [
        meet.organiser.put(f"officials/{new_id()}", {"name": "One", "roles": ["umpire"]}),
        meet.organiser.put(f"officials/{meet.umpire.id}/join-links/{new_id()}"),
        meet.organiser.post("badges.pdf", {"officials": [meet.umpire.id]}),
        meet.organiser.post("start-lists", content="event,round,heat,lane,team\nA,final,1,1,Tern"),
    ]
    for answer in refused:
        a_problem(answer, 429, "too-much-at-once")
    assert meet.head() == before


def test_a_request_is_counted_once_however_it_is_read(meet: MeetAtHand) -> None:
    """A document that the short way cannot read goes the framework's way."""
    meet.service.clock.stand_at(BEGAN)
    path, sent = f"reports/{new_id()}", a_report(meet.heat(), meet.posts["umpire"])
    spoilt = [meet.umpire.put(path, sent | {"lane": 0}) for _ in range(A_MINUTE - 1)]
    assert {one.status_code for one in spoilt} == {422}
    assert meet.umpire.put(path, sent).status_code == 201
    assert meet.umpire.put(path, sent).status_code == 429


def test_badges_that_are_refused_make_no_new_links(meet: MeetAtHand) -> None:
    pace, before = meet.service.app.state.services.pace, meet.head()
    known = meet.service.store.read_now(
        lambda conn: session_of(conn, hash_secret(meet.organiser.token))
    )
    assert known is not None
    with ExitStack() as under_way:
        for _ in range(MOST_FILES):
            under_way.enter_context(pace.one_more_file(known.caller.session_id))
        answer = meet.organiser.post("badges.pdf", {"officials": [meet.umpire.id]})
    a_problem(answer, 429, "too-much-at-once")
    assert meet.head() == before


@given(
    a_minute=st.integers(1, 10),
    gaps=st.lists(st.floats(0, 10, allow_nan=False), max_size=80),
)
def test_no_minute_has_more_than_twice_as_many_and_whoever_waits_as_told_is_let_in(
    a_minute: int, gaps: list[float]
) -> None:
    """So many at once, and as many more while they are let in again."""
    pace, session, at, taken = Pace(a_minute), SessionId(new_id()), BEGAN, []
    for gap in gaps:
        at += timedelta(seconds=gap)
        try:
            pace.count_change(session, at)
        except TooMuchAtOnce as refused:
            at += timedelta(seconds=refused.retry_after)
            pace.count_change(session, at)
        taken.append(at)
    for start in taken:
        within = [one for one in taken if start <= one < start + timedelta(minutes=1)]
        assert len(within) <= 2 * a_minute + 1


def test_a_clock_that_was_set_back_lets_nobody_in_earlier() -> None:
    pace, session = Pace(1), SessionId(new_id())
    pace.count_change(session, BEGAN)
    for at in (BEGAN - timedelta(hours=1), BEGAN):
        with pytest.raises(TooMuchAtOnce):
            pace.count_change(session, at)


@pytest.mark.parametrize("path", FILES)
def test_a_session_waits_for_few_files_at_a_time_and_others_get_theirs(
    meet: MeetAtHand, path: str
) -> None:
    second = add_official(meet, "second referee", "referee")
    services = meet.service.app.state.services
    path = path.format(case=meet.report()["case"])
    locks = (services.of_records, services.of_files)

    async def hold() -> None:
        for lock in locks:
            await lock.acquire()

    async def let_go() -> None:
        for lock in locks:
            lock.release()

    meet.service.do(hold())
    with ThreadPoolExecutor(MOST_FILES + 1) as many:
        waiting = [many.submit(meet.referee.get, path) for _ in range(MOST_FILES)]
        while services.pace._files.total() < MOST_FILES:
            meet.service.do(asyncio.sleep(0.005))
        told = a_problem(meet.referee.get(path), 429, "too-much-at-once")
        assert str(MOST_FILES) in told["detail"]
        others = many.submit(second.get, path)
        meet.service.do(let_go())
        assert [one.result().status_code for one in (*waiting, others)] == [200] * (MOST_FILES + 1)
    assert meet.referee.get(path).status_code == 200
    for _ in range(400):  # a file is counted until the server knows that it has gone out
        if not services.pace._files:
            return
        meet.service.do(asyncio.sleep(0.005))
    pytest.fail("files that have gone out are still counted")

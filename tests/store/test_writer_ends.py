"""What ends the writer and what does not, and who is told when it has ended."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.clock import SystemClock
from app.ids import MeetId, new_id
from app.record.log import Keeper
from app.refusals import Unavailable
from app.store.action import Committed, Done, Unit
from app.store.store import Store
from tests.builders import a_meet, a_problem, a_report
from tests.conftest import ENGINES, NewDatabase
from tests.running import Service, a_service
from tests.store.test_writer import SOMEBODY, add, stored_keys


@pytest.fixture(params=ENGINES)
def own_service(request: pytest.FixtureRequest, new_database: NewDatabase) -> Iterator[Service]:
    """A service of one's own, whose writer may be ended."""
    with a_service(new_database(request.param)) as service:
        yield service


def end_the_thread(unit: Unit) -> Done[None]:
    """No error of an action but what ends the thread that runs it, as a library that fails may."""
    raise SystemExit


def test_a_listener_that_fails_ends_nothing(
    new_database: NewDatabase, caplog: pytest.LogCaptureFixture
) -> None:
    told: list[Committed] = []

    def fail(committed: Committed) -> None:
        told.append(committed)
        raise LookupError("this listener failed")

    store = Store(new_database("sqlite"), SystemClock(), Keeper(), fail)
    store.start()
    meet = MeetId(new_id())
    assert [store.act_now(meet, SOMEBODY, add(key)) for key in ("one", "two")] == ["one", "two"]
    assert [dict(committed.sizes) for committed in told] == [{meet: 1}, {meet: 2}]
    assert store.takes_work
    store.stop()
    assert caplog.text.count("those who follow the record were not told") == 2


def test_an_ended_writer_is_not_ready_and_nobody_waits_for_it(own_service: Service) -> None:
    http, store, meet = own_service.http, own_service.store, a_meet(own_service)
    report, sent = new_id(), a_report(meet.heat(), meet.posts["umpire"])
    assert http.get("/readyz").status_code == 200
    with pytest.raises(Unavailable, match="send it again"):
        store.act_now(MeetId(meet.id), SOMEBODY, end_the_thread)
    problem = a_problem(http.get("/readyz"), 503, "unavailable")
    assert "writer has ended" in problem["detail"]
    assert http.get("/healthz").status_code == 200
    answer = meet.umpire.put(f"reports/{report}", sent)
    assert a_problem(answer, 503, "unavailable")["detail"].startswith("The server stores nothing")
    assert answer.headers["retry-after"]
    a_problem(meet.umpire.get(f"reports/{report}"), 404, "not-found")


def test_whoever_was_queued_when_the_writer_ended_is_told_and_nothing_is_stored(
    own_service: Service,
) -> None:
    meet, keys = MeetId(new_id()), [f"queued {new_id()}" for _ in range(300)]

    async def all_at_once() -> list[object]:
        work = [own_service.store.act(meet, SOMEBODY, add(key)) for key in keys]
        work.insert(5, own_service.store.act(meet, SOMEBODY, end_the_thread))
        return await asyncio.gather(*work, return_exceptions=True)

    outcomes = asyncio.run(all_at_once())
    kept = {key for key in outcomes if isinstance(key, str)}
    assert sum(isinstance(outcome, Unavailable) for outcome in outcomes) == 301 - len(kept)
    assert stored_keys(own_service) & set(keys) == kept


def test_a_store_takes_work_from_its_start_to_its_stop(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'a.db'}", SystemClock(), Keeper())
    assert not store.takes_work
    store.start()
    assert store.takes_work
    store.stop()
    assert not store.takes_work

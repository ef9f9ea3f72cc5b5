"""Several processes over one PostgreSQL: what is done at one is seen at all others, by its word.

`NOTIFY` is sent with the commit, and to nobody where that fails (PostgreSQL's documentation,
NOTIFY). Here no feed looks by itself, so what arrives was told.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from sqlalchemy import Engine, create_engine, make_url, text

from app.record import feed
from app.store.hearing import CHANNEL
from tests.builders import MeetAtHand, Person, a_meet
from tests.conftest import NewDatabase
from tests.record.test_feed import following
from tests.running import Service, a_service

LISTENING = (
    "SELECT pid FROM pg_stat_activity WHERE datname = current_database() "
    f"AND query = 'LISTEN {CHANNEL}'"
)


@pytest.fixture
def two(
    new_database: NewDatabase, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Service, Service]]:
    monkeypatch.setattr(feed, "LOOK_EVERY", 3600.0)
    url = new_database("postgresql")
    with ExitStack() as stack:
        here, there = (stack.enter_context(a_service(url)) for _ in range(2))
        yield here, there


@pytest.fixture
def database(two: tuple[Service, Service]) -> Iterator[Engine]:
    url = make_url(two[0].database_url).set(drivername="postgresql+psycopg")
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    yield engine
    engine.dispose()


def at(service: Service, meet: MeetAtHand, name: str) -> Person:
    """An official of the meet, at another process."""
    person = meet[name]
    return MeetAtHand(service, meet.id).person(person.id, person.name, person.token)


def listeners(database: Engine, number: int) -> list[int]:
    """The backends that listen, once there are so many."""
    ends = time.monotonic() + 20
    while time.monotonic() < ends:
        with database.connect() as conn:
            found = [row.pid for row in conn.execute(text(LISTENING))]
        if len(found) == number:
            return found
        time.sleep(0.02)
    raise AssertionError(f"{number} processes should listen")


def test_what_is_done_at_one_process_is_seen_at_another_and_only_once(
    two: tuple[Service, Service], database: Engine
) -> None:
    here, there = two
    meet = a_meet(here)
    listeners(database, 2)
    with following(at(there, meet, "referee")) as events:
        for number in range(5):
            meet.report(lane=3 + number % 2)
            meet.call("white")
        seen = [json.loads(next(events)["data"]) for _ in range(10)]
    assert [one["kind"] for one in seen] == ["report written", "call"] * 5
    seqs = [one["seq"] for one in seen]
    assert seqs == list(range(seqs[0], seqs[0] + 10))


def test_a_listener_that_is_lost_comes_back_by_itself_and_misses_nothing(
    two: tuple[Service, Service], database: Engine
) -> None:
    here, there = two
    meet = a_meet(here)
    with following(at(there, meet, "referee")) as events:
        for _ in range(3):
            lost = listeners(database, 2)
            with database.connect() as conn:
                for pid in lost:
                    conn.execute(text("SELECT pg_terminate_backend(:pid)"), {"pid": pid})
            meet.call("white")  # while nobody listens
            assert json.loads(next(events)["data"])["kind"] == "call"
    assert not set(listeners(database, 2)) & set(lost)


def test_a_role_that_was_taken_at_one_process_shows_nothing_more_at_another(
    two: tuple[Service, Service], database: Engine
) -> None:
    here, there = two
    meet = a_meet(here)
    listeners(database, 2)
    with following(at(there, meet, "chief_umpire")) as events:
        meet.report()
        assert json.loads(next(events)["data"])["kind"] == "report written"
        told = {"name": "chief_umpire", "affiliation": "", "roles": ["umpire"]}
        address = f"officials/{meet['chief_umpire'].id}"
        version = meet.organiser.get(address).headers["ETag"]
        assert meet.organiser.put(address, told, etag=version).status_code == 200
        meet.report(lane=3)
        meet.start()
        assert json.loads(next(events)["data"])["kind"] == "heat started"

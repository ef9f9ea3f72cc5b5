"""Connections that read: as many as a burst needs are opened once, and kept for the next."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sqlalchemy import event

from app.clock import SystemClock
from app.record.log import Keeper
from app.refusals import Unavailable
from app.store.engine import Engines
from app.store.store import Store
from tests.conftest import ENGINES, NewDatabase
from tests.store.reading import all_connections_of


@pytest.fixture(params=ENGINES)
def store(new_database: NewDatabase, request: pytest.FixtureRequest) -> Iterator[Store]:
    opened = Store(new_database(request.param), SystemClock(), Keeper())
    opened.engines.reading.pool._timeout = 0.01  # type: ignore[attr-defined]
    yield opened
    opened.engines.dispose()


def opened_in_bursts(engines: Engines, bursts: int) -> tuple[int, int]:
    """How many were opened, and how many one burst has."""
    opened: list[object] = []
    event.listen(engines.reading, "connect", lambda *_: opened.append(None))
    for _ in range(bursts):
        with all_connections_of(engines) as most:
            pass
    return len(opened), most


@pytest.mark.parametrize("store", ["postgresql"], indirect=True)
def test_a_burst_opens_no_connection_that_the_one_before_had_already(store: Store) -> None:
    """A new one is a new process of PostgreSQL, which has planned nothing yet. On SQLite it is a
    file that is opened.
    """
    opened, most = opened_in_bursts(store.engines, bursts=3)
    assert opened == most


def test_whoever_reads_while_all_are_in_use_is_told_so_and_may_come_again(store: Store) -> None:
    with (
        all_connections_of(store.engines),
        pytest.raises(Unavailable, match="all connections to it are in use"),
    ):
        store.read_now(lambda _conn: None)
    assert store.read_now(lambda _conn: "read") == "read"

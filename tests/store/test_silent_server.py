"""A PostgreSQL that is cut off says nothing, not even that it is gone: nobody waits for it long."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable

import pytest
from sqlalchemy import Connection, insert, make_url, text
from sqlalchemy.exc import OperationalError

from app.access.tables import tries
from app.store import engine
from app.store.by_name import MUCH_OWED
from app.store.causes import GONE, cause_of
from app.store.engine import open_engines
from app.store.prepared import Prepared
from tests.conftest import NewDatabase

LOCK = text("LOCK TABLE tries IN ACCESS EXCLUSIVE MODE")


def test_a_server_that_takes_the_line_and_says_nothing_is_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # libpq waits two seconds at the least.
    monkeypatch.setitem(engine.PATIENCE, "connect_timeout", "2")
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        engines = open_engines(f"postgresql://somebody@127.0.0.1:{port}/meets")
        began = time.monotonic()
        with pytest.raises(OperationalError) as failed:
            engines.reading.connect()
        assert time.monotonic() - began < 60
        engines.dispose()
    assert cause_of(failed.value) == GONE


def lock_by_the_toolkit(conn: Connection) -> None:
    conn.execute(LOCK)


def lock_by_what_is_sent_off(conn: Connection) -> None:
    """A row of the same table, and nobody waits for the answer."""
    add = Prepared(insert(tries))
    for number in range(MUCH_OWED):
        add.later(conn, {"key": str(number), "count": 1, "blocked_until": None})


@pytest.mark.parametrize("lock", [lock_by_the_toolkit, lock_by_what_is_sent_off])
def test_the_server_gives_up_a_group_that_asks_nothing_any_more_and_its_locks_with_it(
    new_database: NewDatabase,
    monkeypatch: pytest.MonkeyPatch,
    lock: Callable[[Connection], None],
) -> None:
    monkeypatch.setitem(engine.OF_A_GROUP, "idle_in_transaction_session_timeout", "200ms")
    one = open_engines(new_database("postgresql"))
    other = open_engines(one.url.render_as_string(hide_password=False))
    gone = one.writing.connect()
    lock(gone)
    with other.writing.begin() as conn:
        conn.execute(text("SET lock_timeout = '30s'"))
        conn.execute(LOCK)
    gone.invalidate()
    for each in (one, other):
        each.dispose()


def test_every_line_gives_up_a_server_that_takes_nothing_any_more_unless_the_address_says_how_long(
    new_database: NewDatabase,
) -> None:
    """In milliseconds, as `TCP_USER_TIMEOUT` has them (RFC 5482)."""
    address = make_url(new_database("postgresql"))
    for own, holds in ({}, "15000"), ({"tcp_user_timeout": "7000"}, "7000"):
        engines = open_engines(str(address.update_query_dict(own).render_as_string(False)))
        for one in (engines.writing, engines.reading):
            with one.connect() as conn:
                driven = conn.connection.dbapi_connection
                assert driven is not None
                said = driven.info.get_parameters()  # type: ignore[attr-defined]
                assert said["tcp_user_timeout"] == holds
        engines.dispose()

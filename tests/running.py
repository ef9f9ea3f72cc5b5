"""A running service for tests: the real server on a loopback port, with a clock that can be set."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar

import httpx
import uvicorn
from fastapi import FastAPI
from pydantic import SecretStr
from sqlalchemy import event

from app.config import Settings
from app.connections import Connection
from app.server import create_app
from app.store.store import Store

SETUP_KEY = "the-setup-key-of-the-tests"
PUBLIC_URL = "https://relays.test"  # RFC 6761, section 6.2: this name is nobody's
Result = TypeVar("Result")


class TestingClock:
    """The machine's clock, moved by what a test asks for."""

    __test__ = False

    def __init__(self) -> None:
        self._offset = timedelta(0)
        self._fixed: datetime | None = None

    def now(self) -> datetime:
        return self._fixed or datetime.now(UTC) + self._offset

    def move(self, by: timedelta) -> None:
        if self._fixed is not None:
            self._fixed += by
        else:
            self._offset += by

    def stand_at(self, instant: datetime) -> None:
        self._fixed = instant

    def run_again(self) -> None:
        self._fixed, self._offset = None, timedelta(0)


class Service:
    """A service under test."""

    def __init__(
        self,
        app: FastAPI,
        address: str,
        clock: TestingClock,
        database_url: str,
        loop: asyncio.AbstractEventLoop,
    ) -> None:
        self.app = app
        self._loop = loop
        self.address = address
        self.clock = clock
        self.database_url = database_url
        # Lines are given up before the server closes them: one that it closes while a request is on
        # its way looks like a server that did not answer.
        limits = httpx.Limits(keepalive_expiry=2)
        self.http = httpx.Client(base_url=address, timeout=30, limits=limits)

    @property
    def store(self) -> Store:
        store: Store = self.app.state.services.store
        return store

    def do(self, work: Coroutine[Any, Any, Result]) -> Result:
        """Work that is done inside the service, on its own loop, as its routes do it."""
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(30)


@contextmanager
def a_service(
    database_url: str,
    connection: type[Connection] = Connection,
    public_url: str = PUBLIC_URL,
    port: int = 0,
    **settings_changed: object,
) -> Iterator[Service]:
    """The service over a migrated database, until the test is done with it, as phones know it. No
    person is as fast as a test, so that the pace of a session has no bound unless one is asked for.
    """
    clock = TestingClock()
    settings = Settings(_env_file=None, setup_key=SecretStr(SETUP_KEY)).model_copy(
        update={
            "database_url": database_url,
            "public_url": public_url,
            "changes_a_minute": 10**9,
            **settings_changed,
        }
    )
    app = create_app(settings, clock)
    _spare_the_disk(app.state.services.store)
    server = uvicorn.Server(
        uvicorn.Config(
            app, port=port, http=connection, ws="none", log_level="warning", access_log=False
        )
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        if not thread.is_alive():
            raise RuntimeError("the service under test did not start")
        time.sleep(0.005)
    listening = server.servers[0]
    port = listening.sockets[0].getsockname()[1]
    address, loop = f"http://127.0.0.1:{port}", listening.get_loop()
    service = Service(app, address, clock, database_url, loop)
    try:
        yield service
    finally:
        service.http.close()
        server.should_exit = True
        thread.join(10)


def _spare_the_disk(store: Store) -> None:
    """No test here cuts the power: SQLite need not wait for the disk, as the PostgreSQL of
    `tests/postgres.py` need not.
    """
    if store.engines.is_sqlite:
        event.listen(
            store.engines.writing,
            "connect",
            lambda connection, _record: connection.execute("PRAGMA synchronous=OFF"),
        )


@contextmanager
def workers_of(service: Service) -> Iterator[list[httpx.Client]]:
    """Clients of all that serve the same database: one process on SQLite, two on PostgreSQL."""
    if service.store.engines.is_sqlite:
        yield [service.http]
    else:
        with a_service(service.database_url) as other:
            yield [service.http, other.http]

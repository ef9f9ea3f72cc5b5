"""Where are the reports kept while the benchmark runs? Fresh databases of either engine, and one
folder for the seals of all meets in them, whichever process serves them.

The tests' own PostgreSQL runs without disk syncs, which is right for tests and wrong here: a
durable insert is what is measured. So the benchmark starts the same binaries with syncs on, unless
the environment names a server.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Protocol

from sqlalchemy import make_url

from app.serving import bring_up_to_date
from tests import postgres
from tests.bench.plan import EngineName


class Databases(Protocol):
    """Makes databases of one engine and returns their URLs."""

    def empty(self) -> str:
        """A database with nothing in it."""

    def migrated(self) -> str:
        """A database with the service's schema."""

    def copy(self, url: str) -> str:
        """A copy of a database that nobody has open."""


@contextmanager
def fresh_databases(engine: EngineName) -> Iterator[Databases]:
    """Makes databases of an engine; all of them are gone at the end."""
    with (
        tempfile.TemporaryDirectory(prefix="zd-bench-") as folder,
        seals_in(Path(folder) / "seal"),
    ):
        if engine is EngineName.SQLITE:
            yield SqliteDatabases(Path(folder))
        else:
            with _durable_postgres(Path(folder)) as url:
                yield PostgresqlDatabases(postgres.Databases(url))


@contextmanager
def seals_in(folder: Path) -> Iterator[None]:
    """The settings of this process, and of the servers that it starts."""
    before = dict(os.environ)
    os.environ["ZONEDOCKET_SEAL_FOLDER"] = str(folder)
    os.environ["ZONEDOCKET_SEAL_PASSPHRASE"] = "for the benchmark"
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


class SqliteDatabases:
    """Files in a folder."""

    def __init__(self, folder: Path) -> None:
        self._files = (folder / f"{number}.db" for number in count(1))

    def empty(self) -> str:
        return f"sqlite:///{next(self._files)}"

    def migrated(self) -> str:
        url = self.empty()
        bring_up_to_date(url)
        return url

    def copy(self, url: str) -> str:
        made = self.empty()
        source, target = (sqlite3.connect(one.removeprefix("sqlite:///")) for one in (url, made))
        with closing(source), closing(target):
            source.backup(target)
        return made


class PostgresqlDatabases:
    """Databases on one server."""

    def __init__(self, server: postgres.Databases) -> None:
        self._server = server

    def empty(self) -> str:
        return self._server.make()

    def migrated(self) -> str:
        url = self.empty()
        bring_up_to_date(url)
        return url

    def copy(self, url: str) -> str:
        return self._server.make(template=str(make_url(url).database))


@contextmanager
def _durable_postgres(folder: Path) -> Iterator[str]:
    if os.environ.get(postgres.NAMED):
        with postgres.a_postgres() as url:
            yield url
        return
    server = subprocess.Popen(
        postgres.new_cluster(folder), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        postgres._wait(folder, postgres.PORT)
        yield postgres.url_in(folder)
    finally:
        # Nothing of it is needed any more, and a polite stop takes seconds.
        binaries, prefix = postgres._binaries()
        stop = [*prefix, str(binaries / "pg_ctl"), "stop", "-D", str(folder / "data")]
        stop += ["-m", "immediate"]
        subprocess.run(stop, check=True, capture_output=True)
        server.wait(30)

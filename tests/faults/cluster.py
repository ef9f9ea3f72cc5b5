"""A PostgreSQL of our own whose processes are killed and which is started again.

A killed process leaves all that it has written with the system, so a disk sync (`fsync`) changes
nothing of what is tried here, and it is left out: with it a recovery waits for the disk of whoever
else works on the machine. What decides is on, as it comes: `synchronous_commit`, without which an
answer does not wait for the log, and `full_page_writes`, since a write of two pages can be killed
between them.
"""

from __future__ import annotations

import os
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random

import psycopg

from tests import postgres
from tests.faults.served import wait_until

SETTINGS = (
    "fsync=off",
    "shared_buffers=64MB",
    "jit=off",
    "max_connections=60",
    "wal_level=minimal",
)
MORE = ("max_wal_senders=0", "log_min_messages=fatal")


class Cluster:
    """The server, its processes, and its databases."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        settings = (part for setting in (*SETTINGS, *MORE) for part in ("-c", setting))
        self._command = [*postgres.new_cluster(folder), *settings]
        self._process: subprocess.Popen[bytes] | None = None
        self.databases = postgres.Databases(postgres.url_in(folder))

    def start(self) -> None:
        """Start it, as often as it takes: the children of a postmaster that was killed hold on to
        its memory until they have noticed, and as long another one refuses to start.
        """
        wait_until(self._has_started, "PostgreSQL has started")

    def _has_started(self) -> bool:
        if self._process is None or self._process.poll() is not None:
            self._process = subprocess.Popen(
                self._command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
        return self._is_there()

    def _is_there(self) -> bool:
        with suppress(psycopg.OperationalError):
            psycopg.connect(self.databases.url("postgres")).close()
            return True
        return False

    def kill_postmaster(self) -> None:
        """SIGKILL to the process that starts all others; these end when they notice."""
        assert self._process is not None
        os.kill(self._postmaster(), signal.SIGKILL)
        self._process.wait(30)

    def kill_one(self, chance: Random) -> str:
        """SIGKILL to a process of the server, mostly one that works for the service; gives what it
        was. The postmaster then ends all others, recovers, and serves again by itself.
        """
        asked = "SELECT pid, backend_type FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
        with psycopg.connect(self.databases.url("postgres"), autocommit=True) as conn:
            there: list[tuple[int, str]] = conn.execute(asked).fetchall()
        backends = [one for one in there if one[1] == "client backend"]
        others = [one for one in there if one not in backends]
        pid, what = chance.choice(backends if backends and chance.random() < 0.8 else others)
        with suppress(ProcessLookupError):  # it may have ended since it was asked for
            os.kill(pid, signal.SIGKILL)
        return what

    def stop(self) -> None:
        """At once, like a fall: nothing of it is needed any more."""
        if self._process is not None and self._process.poll() is None:
            os.kill(self._postmaster(), signal.SIGQUIT)
            self._process.wait(30)

    def _postmaster(self) -> int:
        """Its own number: what started it may stand between."""
        return int((self._folder / "data" / "postmaster.pid").read_text().split()[0])


@contextmanager
def a_cluster() -> Iterator[Cluster]:
    """A server that runs until the block ends, killed as often as it may be."""
    with tempfile.TemporaryDirectory(prefix="zd-faults-", ignore_cleanup_errors=True) as folder:
        cluster = Cluster(Path(folder))
        try:
            cluster.start()
            yield cluster
        finally:
            cluster.stop()

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
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from random import Random

import psycopg

from tests import postgres
from tests.faults.served import wait_until

SETTINGS = ("fsync=off", "wal_level=minimal", "max_wal_senders=0")
SPARING = ("shared_buffers=64MB", "jit=off", "max_connections=60", "log_min_messages=fatal")


class Cluster:
    """The server, its processes, and its databases."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        settings = (part for setting in (*SETTINGS, *SPARING) for part in ("-c", setting))
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

    def aim_at_one(self, chance: Random) -> Callable[[], None]:
        """What kills one of its processes, mostly one that works for the service. The postmaster
        then ends all others, recovers, and serves again by itself.
        """
        asked = "SELECT pid, backend_type FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
        with psycopg.connect(self.databases.url("postgres"), autocommit=True) as conn:
            there: dict[int, str] = dict(conn.execute(asked).fetchall())
        backends = [pid for pid, what in there.items() if what == "client backend"]
        others = sorted(there.keys() - backends)
        one = chance.choice(backends if backends and chance.random() < 0.8 else others)

        def kill() -> None:
            if not _signal(one, signal.SIGKILL):
                return  # it has ended since it was chosen
            # Before the postmaster has noticed, the others serve on as if nothing had happened.
            wait_until(
                lambda: not any(_signal(pid, 0) for pid in there), "all its processes have ended"
            )

        return kill

    def aim_at_postmaster(self) -> Callable[[], None]:
        """What kills the process that starts all others, and starts a new one at once. The others
        end when they notice.
        """
        pid = self._postmaster()

        def kill_and_start() -> None:
            os.kill(pid, signal.SIGKILL)
            self.start()

        return kill_and_start

    def stop(self) -> None:
        """At once, like a fall: nothing of it is needed any more."""
        if self._process is not None and self._process.poll() is None:
            os.kill(self._postmaster(), signal.SIGQUIT)
            self._process.wait(30)

    def _postmaster(self) -> int:
        """Its own number: what started it may stand between."""
        return int((self._folder / "data" / "postmaster.pid").read_text().split()[0])


def _signal(pid: int, number: int) -> bool:
    """Whether there was such a process to send this to; 0 only asks."""
    with suppress(ProcessLookupError):
        os.kill(pid, number)
        return True
    return False


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

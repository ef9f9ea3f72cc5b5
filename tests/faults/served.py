"""The service as processes that are killed and started again, hundreds of times.

A fresh `python -m app serve` reads the program for two seconds. Here one process has read it, and
each server is a fork of that one: from there on it does what the command does, with a database, a
port and a writer of its own. `by_command` starts the command itself.
"""

from __future__ import annotations

import http.client
import multiprocessing
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection
from pathlib import Path

from pydantic import SecretStr

from app.config import Settings
from app.serving import listen, serve_settings
from tests.running import SETUP_KEY

SECONDS_TO_START = 60.0

_forks = multiprocessing.get_context("forkserver")
_forks.set_forkserver_preload([__name__])


class Served:
    """A server that runs, or ran."""

    def __init__(self, pid: int, host: str, end: Callable[[], None]) -> None:
        self.pid, self.host, self._end = pid, host, end

    def kill(self) -> None:
        """SIGKILL: nothing of the process runs after it."""
        self._end()

    def is_ready(self) -> bool:
        """Whether it says that it reads and stores."""
        with suppress(OSError, http.client.HTTPException):
            line = http.client.HTTPConnection(self.host, timeout=SECONDS_TO_START)
            try:
                line.request("GET", "/readyz")
                return line.getresponse().status == 200
            finally:
                line.close()
        return False


class Serving:
    """Starts servers over one database; what they log goes into one file."""

    def __init__(self, database_url: str, folder: Path) -> None:
        self.log = folder / "log"
        self.log.touch()
        self._settings = Settings(_env_file=None).model_copy(
            update={
                "database_url": database_url,
                "port": 0,
                "setup_key": SecretStr(SETUP_KEY),
            }
        )

    def fork(self, killed_after: float | None = None) -> Served | None:
        """A server, once it has said where it is; None where it is killed before, so many seconds
        after its start.
        """
        told, tell = _forks.Pipe(duplex=False)
        process = _forks.Process(target=_serve, args=(self._settings, tell, str(self.log)))
        process.start()
        tell.close()
        assert process.pid is not None

        def end() -> None:
            process.kill()
            process.join()
            process.close()

        with told:
            if killed_after is not None:
                told.poll(killed_after)
                end()
                return None
            if not told.poll(SECONDS_TO_START):
                end()
                raise RuntimeError(f"the server did not start:\n{self.last_logged()}")
            try:
                return Served(process.pid, told.recv(), end)
            except EOFError:
                end()
                raise RuntimeError(f"the server ended at once:\n{self.last_logged()}") from None

    def by_command(self) -> Served:
        """The same by the command line."""
        environment = os.environ | {
            "DATABASE_URL": self._settings.database_url,
            "ZONEDOCKET_SETUP_KEY": SETUP_KEY,
        }
        with self.log.open("a") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "app", "serve", "--port", "0"],
                env=environment,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
            )

        def end() -> None:
            process.kill()
            process.communicate()

        assert process.stdout is not None
        said = process.stdout.readline()
        if not said.startswith("Serving "):
            end()
            raise RuntimeError(f"the server did not start: {said!r}\n{self.last_logged()}")
        return Served(process.pid, _host_of(said.split()[1]), end)

    def last_logged(self) -> str:
        """The end of what all servers have logged."""
        return "\n".join(self.log.read_text().splitlines()[-40:])


@contextmanager
def a_server(serving: Serving) -> Iterator[Served]:
    """A server until the block ends, ready from the first moment."""
    server = serving.fork()
    assert server is not None
    try:
        wait_until(server.is_ready, "the server is ready")
        yield server
    finally:
        server.kill()


def wait_until(holds: Callable[[], bool], what: str, seconds: float = SECONDS_TO_START) -> float:
    """Wait for a condition; gives the seconds that it took, and fails where it took too long."""
    began = time.monotonic()
    while not holds():
        if time.monotonic() - began > seconds:
            raise AssertionError(f"waited {seconds:g} s in vain until {what}")
        time.sleep(0.005)
    return time.monotonic() - began


def _serve(settings: Settings, tell: Connection, log: str) -> None:
    """In the fork: serve until killed."""
    with Path(log).open("a") as file:
        os.dup2(file.fileno(), 2)
    sys.exit(serve_settings(settings, listen(settings), say=lambda at: tell.send(_host_of(at))))


def _host_of(address: str) -> str:
    return address.removeprefix("http://")

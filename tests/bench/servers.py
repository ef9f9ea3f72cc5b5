"""What is measured against? A server in a process of its own, started as in production.

`python -m tests.bench.servers` is the service in such a process, as `python -m tests.bench.bare` is
the bare endpoint: each reads its settings from the environment, takes a free port, prints its
address and serves until it is terminated.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from app.config import Settings
from app.serving import listen, serve_settings
from tests.running import SETUP_KEY

Command = tuple[str, ...]

SECONDS_TO_END = 15.0
SERVICE = (sys.executable, "-m", "tests.bench.servers")
BARE = (sys.executable, "-m", "tests.bench.bare")
VALIDATING = (sys.executable, "-m", "tests.bench.validating")
GENERAL = (sys.executable, "-m", "tests.bench.general")
COMMAND = (sys.executable, "-m", "app", "serve", "--port", "0")


@dataclass(frozen=True, slots=True)
class Running:
    """A server that runs: where, and as which process."""

    address: str
    pid: int


@contextmanager
def some_servers(*wanted: tuple[Command, str]) -> Iterator[list[str]]:
    """The addresses of servers, each over its own database, that run until the block ends."""
    with some_processes(*wanted) as running:
        yield [one.address for one in running]


@contextmanager
def some_processes(*wanted: tuple[Command, str]) -> Iterator[list[Running]]:
    """The same with their processes."""
    processes: list[subprocess.Popen[str]] = []
    try:
        processes += [_spawn(command, database_url) for command, database_url in wanted]
        yield [Running(_address_of(process), process.pid) for process in processes]
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(SECONDS_TO_END)
            assert process.stdout is not None
            process.stdout.close()


def _spawn(command: Command, database_url: str) -> subprocess.Popen[str]:
    environment = os.environ | {"DATABASE_URL": database_url, "ZONEDOCKET_SETUP_KEY": SETUP_KEY}
    # Few sessions send what a stadium full of them would; and figures are printed here.
    environment |= {"ZONEDOCKET_CHANGES_A_MINUTE": str(10**9), "ZONEDOCKET_LOG_REQUESTS": "false"}
    # Whoever installs the service has its bytecode; here it is kept from one start to the next.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)


def _address_of(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    said = process.stdout.readline()
    if not said.startswith("Serving "):
        raise RuntimeError(f"the server did not start; it said: {said!r}")
    return said.split()[1]


def serve_service() -> int:
    """The service, assembled and served as the command line does it."""
    settings = Settings(_env_file=None).model_copy(update={"port": 0})
    return serve_settings(settings, listen(settings))


def resident_kb(server: Running) -> float:
    """The memory that a process holds, in KB (Linux)."""
    for line in Path(f"/proc/{server.pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return float(line.split()[1])
    raise RuntimeError("the system does not tell what the process holds")


if __name__ == "__main__":
    sys.exit(serve_service())

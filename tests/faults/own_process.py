"""A server in a process of its own, which can be starved without harm to others."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from time import monotonic, sleep

import httpx

from app.ids import new_id
from tests.bench.servers import SERVICE, Command, some_processes
from tests.builders import MeetAtHand, a_meet, a_report
from tests.running import a_service

ALONE = ("unshare", "--user", "--map-root-user", "--mount")
"""What is mounted by the command that follows is there for it alone."""
PATIENCE = 20.0


def a_meet_of(database_url: str) -> MeetAtHand:
    """A meet that was made before the server begins which is looked at."""
    with a_service(database_url) as service:
        return a_meet(service)


class Server:
    """The server, as the people of a meet reach it."""

    def __init__(self, http: httpx.Client, pid: int, meet: MeetAtHand) -> None:
        self.http, self.pid = http, pid
        self.umpire = replace(meet.umpire, http=http)
        self.referee = replace(meet.referee, http=http)
        self.organiser = replace(meet.organiser, http=http)
        self._sent = (meet.heat(), meet.posts["umpire"])

    def report(self, report: str | None = None) -> httpx.Response:
        """A report is sent: a new one, or one by its id."""
        document = a_report(*self._sent)
        return self.umpire.put(f"reports/{report or new_id()}", document)

    def reports(self) -> set[str]:
        """The ids of all that are stored."""
        return {str(one["id"]) for one in self.umpire.get("reports").json()}


@contextmanager
def a_server(database_url: str, meet: MeetAtHand, command: Command = SERVICE) -> Iterator[Server]:
    """The service over a database in which a meet was made before."""
    with some_processes((command, database_url)) as (running,), httpx.Client(timeout=30) as http:
        http.base_url = httpx.URL(running.address)
        yield Server(http, running.pid, meet)


def on_a_small_disk(folder: Path, database: Path, mebibytes: int) -> Command:
    """A server on a disk of its own that holds a copy of the database, and little more.

    The disk is mounted where nobody else sees it; it is reached through `seen_by`.
    """
    mount = f"mount -t tmpfs -o size={mebibytes}m tmpfs {folder} && cp {database} {folder}/"
    serve = f"exec {sys.executable} -m tests.bench.servers"
    return (*ALONE, "sh", "-c", f"{mount} && {serve}")


def seen_by(pid: int, folder: Path) -> Path:
    """A folder as a process sees it, with its own mounts (Linux, proc(5))."""
    return Path(f"/proc/{pid}/root{folder}")


def wait_for(http: httpx.Client, ready: Callable[[httpx.Response], bool]) -> httpx.Response:
    """The server's word on its readiness, once it is what is awaited."""
    until = monotonic() + PATIENCE
    while not ready(answer := http.get("/readyz")):
        assert monotonic() < until, answer.text
        sleep(0.05)
    return answer


def is_ready(answer: httpx.Response) -> bool:
    return answer.status_code == 200

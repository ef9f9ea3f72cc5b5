"""The service itself in one process: no socket and no thread, and its process can die at any time.

What is real is all of the program but the sockets and the writer's thread: actions are queued as
ever, and are written in groups when their virtual instant has come. A server that dies takes along
what was queued, what was being answered, and what it had in memory; the database stays.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from fastapi import FastAPI
from pydantic import SecretStr
from pydantic_core import from_json, to_json

from app.clock import Clock
from app.config import Settings
from app.ids import MeetId
from app.record.feed import Feed
from app.refusals import Unavailable
from app.server import create_app
from app.store.action import Action, Actor, RecordKeeper
from app.store.engine import Engines, open_engines
from app.store.store import Store
from app.store.writer import Job, Notify, Writer
from tests.running import SETUP_KEY

SLOWEST_DISK = 0.03
"""Seconds until a group is on the disk."""

OnCommit = Callable[[int], None]


@cache
def engines_of(url: str) -> Engines:
    """Opened once for all servers on a file: the toolkit compiles each statement once an engine."""
    return open_engines(url)


@dataclass(frozen=True, slots=True)
class Request:
    """What somebody sends."""

    method: str
    path: str
    token: str
    content: bytes = b""
    etag: str | None = None
    media_type: str = "application/json"
    after: int | None = None
    """Of a live feed: the last entry that was heard."""

    @property
    def headers(self) -> list[tuple[bytes, bytes]]:
        found = {"host": "relays.test", "authorization": f"Bearer {self.token}"}
        if self.content:
            found |= {"content-type": self.media_type, "content-length": str(len(self.content))}
        if self.etag is not None:
            found["if-match"] = self.etag
        if self.after is not None:
            found["last-event-id"] = str(self.after)
        return [(name.encode(), value.encode()) for name, value in found.items()]


@dataclass(slots=True)
class Answer:
    """What comes back, if it does."""

    status: int = 0
    headers: dict[str, str] = field(default_factory=dict)
    content: bytes = b""

    @property
    def document(self) -> Any:
        return from_json(self.content) if self.content else {}

    @property
    def etag(self) -> str | None:
        return self.headers.get("etag")

    @property
    def is_good(self) -> bool:
        return 200 <= self.status < 300


def a_request(
    method: str, path: str, token: str, document: object = None, etag: str | None = None
) -> Request:
    """A request with a JSON document, or with the lines of a list."""
    if isinstance(document, str):
        return Request(method, path, token, document.encode(), etag, "text/csv")
    return Request(method, path, token, b"" if document is None else to_json(document), etag)


async def ask(
    app: FastAPI, request: Request, hear: Callable[[bytes], None] | None = None
) -> Answer:
    """One request to the application, straight by its own interface (ASGI 3.0).

    An answer that never ends is heard part by part.
    """
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": request.method,
        "scheme": "http",
        "path": request.path,
        "raw_path": request.path.encode(),
        "query_string": b"",
        "headers": request.headers,
        "server": ("relays.test", 80),
        "client": ("127.0.0.1", 1),
    }
    answer, came = Answer(), [{"type": "http.request", "body": request.content, "more_body": False}]

    async def receive() -> Mapping[str, Any]:
        return came.pop() if came else await asyncio.get_running_loop().create_future()

    async def send(message: Any) -> None:
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = {name.decode(): value.decode() for name, value in message["headers"]}
        elif hear is not None:
            hear(message.get("body", b""))
        else:
            answer.content += message.get("body", b"")

    await app(scope, receive, send)
    return answer


class SteppedWriter(Writer):
    """A writer without a thread: its groups are written and handed out when their time has come."""

    def plan(self, chance: random.Random, on_commit: OnCommit) -> None:
        self._chance, self._on_commit = chance, on_commit
        self._due: list[asyncio.TimerHandle] = []
        self._is_planned = self._is_gone = False

    @property
    def is_at_work(self) -> bool:
        return not self._is_gone

    def submit(self, job: Job) -> None:
        if self._is_gone:
            raise Unavailable("The server is gone.")
        self._jobs.put(job)
        self._plan_next()

    def act_now(self, meet_id: MeetId, actor: Actor, action: Action[Any]) -> Any:
        job = Job(meet_id, actor, action, lambda _jobs: None)
        self._write_down([job])
        if job.error is not None:
            raise job.error
        return job.result

    def die(self) -> None:
        """Nothing that is queued is written, and nobody who waits is answered."""
        self._is_gone = True
        for one in self._due:
            one.cancel()
        self._give_up_connection()

    def _plan_next(self) -> None:
        if not self._is_planned and not self._jobs.empty():
            self._is_planned = True
            self._later(self._work_off)

    def _later(self, act: Callable[..., None], *what: object) -> None:
        loop = asyncio.get_running_loop()
        self._due = [one for one in self._due if one.when() > loop.time()]
        self._due.append(loop.call_later(self._chance.uniform(0, SLOWEST_DISK), act, *what))

    def _work_off(self) -> None:
        self._is_planned = False
        group, _last = self._gather(self._jobs.get_nowait())  # type: ignore[arg-type]
        self._write_down(group)
        self._later(self._hand_out, group)
        self._plan_next()

    def _write_down(self, group: list[Job]) -> None:
        self._write(group)
        self._on_commit(len(group))


class SteppedStore(Store):
    """The store with that writer, over engines that outlive it."""

    def __init__(self, url: str, clock: Clock, keeper: RecordKeeper, notify: Notify) -> None:
        super().__init__(url, clock, keeper, notify)
        self.engines = engines_of(url)
        self.writer = SteppedWriter(self.engines, clock, keeper, notify)
        self._writer = self.writer

    def die(self) -> None:
        self.writer.die()
        if self._loop_reader is not None:
            self._loop_reader.close()
        self.engines.dispose()


_routed: list[FastAPI] = []


def with_known_routes(fresh: FastAPI) -> FastAPI:
    """The first application of this process, with what a fresh one has in its memory.

    The routes hold nothing, and the framework takes longer to make them than for a whole meet.
    """
    _routed[:] = _routed or [fresh]
    _routed[0].state.services = fresh.state.services
    return _routed[0]


class Server:
    """The process that serves: it is there, or it is not."""

    store_class: type[SteppedStore] = SteppedStore

    def __init__(self, url: str, clock: Clock, chance: random.Random, on_commit: OnCommit) -> None:
        self._settings = Settings(_env_file=None, setup_key=SecretStr(SETUP_KEY)).model_copy(
            update={"database_url": url, "public_url": "https://relays.test"}
        )
        self._clock, self._chance, self._on_commit = clock, chance, on_commit
        self._answering: set[asyncio.Task[Any]] = set()
        self.app: FastAPI | None = None

    def start(self, *, with_feed: bool = False) -> None:
        """A new process begins with nothing in its memory. Its live feed looks at the record every
        second, which costs as much as all else, so it is there only where it is followed.
        """
        fresh = create_app(self._settings, self._clock, self.store_class)
        self.app = with_known_routes(fresh)
        self.store.writer.plan(self._chance, self._on_commit)
        if with_feed:
            feed: Feed = self.app.state.services.feed
            feed.start(self.store)
            feed.hear(True)

    @property
    def store(self) -> SteppedStore:
        assert self.app is not None
        found: SteppedStore = self.app.state.services.store
        return found

    def die(self) -> None:
        assert self.app is not None
        for task in self._answering:
            task.cancel()
        self._answering.clear()
        self.app.state.services.feed.stop()
        self.store.die()
        self.app = None

    def take(self, request: Request, reply: Callable[[Answer], None]) -> None:
        """A request has come; whoever sent it hears of it only if the server lives to answer."""
        if self.app is None:
            return
        task = asyncio.get_running_loop().create_task(self._answer(self.app, request, reply))
        self._answering.add(task)
        task.add_done_callback(self._answering.discard)

    async def _answer(
        self, app: FastAPI, request: Request, reply: Callable[[Answer], None]
    ) -> None:
        reply(await ask(app, request))

    async def follow(self, request: Request, hear: Callable[[bytes], None]) -> None:
        """A live feed, until the server dies."""
        if self.app is not None:
            task = asyncio.get_running_loop().create_task(ask(self.app, request, hear))
            self._answering.add(task)
            await asyncio.wait({task})
            self._answering.discard(task)

    async def ask(self, request: Request) -> Answer:
        """The answer to somebody who sits at the server itself."""
        assert self.app is not None
        return await ask(self.app, request)

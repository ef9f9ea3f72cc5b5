"""One meet, played from a seed: who is there, what befalls them, and what came of it."""

from __future__ import annotations

import asyncio
import atexit
import logging
import random
import shutil
import tempfile
from collections import Counter
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, cast

import httpx

from app.serving import bring_up_to_date
from tests.builders import Json, MeetAtHand, a_meet, add_official
from tests.running import Service
from tests.simulation.following import Follower
from tests.simulation.network import Line, a_bad_line
from tests.simulation.officials import (
    Desk,
    come_with_protests,
    rule_on_what_comes,
    sit_on_appeals,
    start_heat,
    work_at_results,
)
from tests.simulation.phones import Phone, answer_questions, open_and_close, watch_a_race
from tests.simulation.server import Request, Server, SteppedStore, a_request, engines_of
from tests.simulation.virtual import VirtualClock, VirtualLoop, all_from
from tests.simulation.watching import Watcher

UMPIRES = ("umpire", "second", "third")
JURORS = ("jury", "juror 2", "juror 3")
HEATS = 3
BETWEEN_RACES = 300.0
LASTS = 1.5 * 3600
FOLLOWED = 0.25
"""Of so many meets somebody follows the live feed."""
TO_HEAR = 20.0
"""Seconds within which whoever follows has heard of everything."""
TO_CATCH_UP = 3600.0
"""Seconds within which every outbox is empty once all lines and the server are there."""


@dataclass(frozen=True, slots=True)
class Template:
    """A meet that is set up and has not begun, in a file that is copied for each seed."""

    file: Path
    hand: MeetAtHand
    begins: float


@dataclass
class Played:
    """What a seed has come to."""

    seed: int
    told: Counter[str] = field(default_factory=Counter)
    looks: Counter[str] = field(default_factory=Counter)
    acts: int = 0
    digest: str = ""


class InsideService:
    """The service as the builders of tests know it, without a socket: to set a meet up."""

    def __init__(self, server: Server, loop: VirtualLoop, clock: VirtualClock) -> None:
        self._server, self._loop, self.clock = server, loop, clock
        self.http = httpx.Client(
            base_url="https://relays.test", transport=httpx.MockTransport(self._ask)
        )

    @property
    def store(self) -> SteppedStore:
        return self._server.store

    def do(self, work: Coroutine[Any, Any, Any]) -> Any:
        return self._loop.run_until_complete(work)

    def _ask(self, request: httpx.Request) -> httpx.Response:
        scheme, _, token = request.headers.get("authorization", "").partition(" ")
        assert scheme == "Bearer"
        sent = Request(
            request.method,
            request.url.path,
            token,
            request.read(),
            request.headers.get("if-match"),
            request.headers.get("content-type", "text/csv"),
        )
        answer = self.do(self._server.ask(sent))
        return httpx.Response(answer.status, headers=answer.headers, content=answer.content)


def memory() -> str | None:
    """A folder in memory where there is one: a disk's sync is not what is looked at here."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


_place: list[str] = []


def keep_databases_in(place: str) -> None:
    """In a folder of somebody who removes it: a process of a pool ends without tidying up."""
    _place[:] = [place]


@cache
def folder() -> Path:
    """Where the databases of this process lie, until it ends."""
    made = tempfile.mkdtemp(prefix="zd-simulation-", dir=_place[0] if _place else memory())
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return Path(made)


@cache
def template() -> Template:
    """Set up once a process, by the service itself."""
    file = folder() / "template.db"
    bring_up_to_date(f"sqlite:///{file}")
    loop, chance = VirtualLoop(), random.Random(0)
    clock = VirtualClock(loop)
    with all_from(chance, clock):
        server = Server(f"sqlite:///{file}", clock, chance, lambda _acts: None)

        async def start() -> None:
            server.start()

        loop.run_until_complete(start())
        service = cast("Service", InsideService(server, loop, clock))
        hand = a_meet(service, heats=HEATS, umpires=UMPIRES[1:])
        add_official(hand, "other referee", "referee")
        for name in JURORS[1:]:
            add_official(hand, name, "jury")
        server.die()
    begins = loop.time()
    loop.close()
    return Template(file, hand, begins)


def play(seed: int, server_class: type[Server] = Server) -> Played:
    """Play the meet of a seed; AssertionError for whatever does not hold in it."""
    made, file = template(), folder() / "meet.db"
    for rest in folder().glob("meet.db*"):
        rest.unlink()
    shutil.copy(made.file, file)
    loop, chance = VirtualLoop(), random.Random(seed)
    loop.skip(made.begins)
    with all_from(chance, VirtualClock(loop)), quiet():
        meet = Meet(made.hand, file, loop, chance, seed, server_class)
        asyncio.set_event_loop(loop)
        try:
            loop.run_until_complete(meet.play())
        finally:
            meet.end()
            loop.close()
            asyncio.set_event_loop(None)
            engines_of(f"sqlite:///{file}").dispose()
    return meet.played


@contextmanager
def quiet() -> Iterator[None]:
    """No seal can be made without a passphrase, which each announcement would tell in the log."""
    log = logging.getLogger("app.sealing.seals")
    log.setLevel(logging.ERROR)
    yield
    log.setLevel(logging.NOTSET)


class Meet:
    """The people of a meet, the server, and what happens to it."""

    def __init__(
        self,
        hand: MeetAtHand,
        file: Path,
        loop: VirtualLoop,
        chance: random.Random,
        seed: int,
        server_class: type[Server],
    ) -> None:
        self._hand, self._loop, self._chance = hand, loop, chance
        self._clock, self.played = VirtualClock(loop), Played(seed)
        self._watcher = Watcher(str(file), hand.id)
        self._server = server_class(f"sqlite:///{file}", self._clock, chance, self._committed)
        self._failed: asyncio.Future[None] = loop.create_future()
        self._until = loop.time() + LASTS
        self._lines: list[Line] = []
        self._phones = [self._phone(name) for name in UMPIRES]
        self._follower: Follower | None = None
        if chance.random() < FOLLOWED:
            token, size = hand.referee.token, self._watcher.size
            self._follower = Follower(self._server, hand.id, token, size)
        loop.set_exception_handler(self._note_failure)

    def _phone(self, name: str) -> Phone:
        hand, line = self._hand, a_bad_line(self._server, self._chance, self.played.told, LASTS)
        self._lines.append(line)
        return Phone(
            hand.id,
            hand[name].id,
            hand[name].token,
            hand.posts[name],
            line,
            self._clock,
            self._chance,
            self._watcher,
            self._chance.randrange(-90_000, 90_000),
        )

    def _desk(self, name: str) -> Desk:
        person, told, chance = self._hand[name], self.played.told, self._chance
        line = Line(
            self._server,
            chance,
            told,
            loses=chance.choice((0.0, 0.03, 0.2)),
            doubles=chance.choice((0.0, 0.05, 0.2)),
            delay=chance.choice((0.05, 0.3, 2.0)),
        )
        self._lines.append(line)
        return Desk(
            self._hand.id,
            person.id,
            person.token,
            line,
            self._clock,
            self._chance,
            told,
            self._watcher,
        )

    async def play(self) -> None:
        """From the first race till all outboxes are empty and everything was looked at."""
        self._start_server()
        referees = [self._desk("referee"), self._desk("other referee")]
        jurors = [self._desk(name) for name in JURORS]
        heats: list[Json] = self._hand.heats
        everybody = [
            self._races(referees[0], heats),
            self._restarts(),
            self._looks(),
            *(answer_questions(one) for one in self._phones),
            *(rule_on_what_comes(one) for one in referees),
            work_at_results(self._desk("results"), heats),
            come_with_protests(self._desk("results"), heats),
            sit_on_appeals(jurors),
        ]
        pages = [open_and_close(phone) for phone in self._phones]
        if self._follower is not None:
            pages.append(self._follower.follow())
        await self._for_a_while(everybody, pages)
        self._look_at_the_end(await self._read_results(heats))

    async def _for_a_while(
        self,
        everybody: list[Coroutine[Any, Any, None]],
        pages: list[Coroutine[Any, Any, None]],
    ) -> None:
        """The meet lasts so long; then the lines and the server are there, until all is sent."""
        sending = [self._loop.create_task(one) for one in pages]
        working = [self._loop.create_task(one) for one in everybody]
        await self._wait(LASTS, {*working, *sending})
        await end_all(working)
        self._heal()
        for _ in range(int(TO_CATCH_UP / 10)):
            if all(phone.is_empty for phone in self._phones):
                break
            await self._wait(10, set(sending))
        await self._wait(TO_HEAR, set(sending))
        await end_all(sending)

    async def _wait(self, seconds: float, tasks: set[asyncio.Task[None]]) -> None:
        """Unless somebody's work fails: that ends the meet."""
        done, _ = await asyncio.wait(
            {self._failed, *tasks}, timeout=seconds, return_when=asyncio.FIRST_EXCEPTION
        )
        for one in done:
            one.result()

    def _heal(self) -> None:
        for line in self._lines:
            line.loses, line.doubles, line.delay, line.gone = 0.0, 0.0, 0.02, ()
        if self._server.app is None:
            self._start_server()

    def _start_server(self) -> None:
        self._server.start(with_feed=self._follower is not None)

    async def _races(self, referee: Desk, heats: list[Json]) -> None:
        watching: list[asyncio.Task[None]] = []
        try:
            for heat in heats:
                await referee.pause(60)
                watching += [
                    self._loop.create_task(watch_a_race(one, heat)) for one in self._phones
                ]
                await start_heat(referee, heat["id"])
                await asyncio.sleep(self._chance.uniform(0.5, 1.5) * BETWEEN_RACES)
            await asyncio.gather(*watching)
        finally:
            await end_all(watching)

    async def _restarts(self) -> None:
        """The process dies in the middle of something, and is there again soon or late."""
        for _ in range(self._chance.choice((0, 1, 2, 4, 8))):
            await asyncio.sleep(self._chance.expovariate(1 / 900))
            self._server.die()
            self.played.told["restarts"] += 1
            await asyncio.sleep(self._chance.choice((0.0, 1.0, 20.0, 300.0)))
            self._start_server()
        await asyncio.sleep(LASTS)

    async def _looks(self) -> None:
        """Somebody at the server looks at the docket and the results every now and then."""
        while True:
            await asyncio.sleep(self._chance.expovariate(1 / 900))
            if self._server.app is not None:
                await self._look_at_docket()

    async def _look_at_docket(self) -> None:
        """The docket has exactly the open cases: as they were before it was read, or after."""
        before = self._watcher.open_cases()
        asked = a_request("GET", f"/api/meets/{self._hand.id}/docket", self._hand.referee.token)
        told = (await self._server.ask(asked)).document
        shown = {one["id"] for one in told["cases"]}
        assert shown in (before, self._watcher.open_cases()), (shown, before)
        assert told["open"] == len(shown)
        self.played.looks["docket"] += 1

    async def _read_results(self, heats: list[Json]) -> None:
        await self._look_at_docket()
        for heat in heats:
            address = f"/api/meets/{self._hand.id}/heats/{heat['id']}/result"
            answer = await self._server.ask(a_request("GET", address, self._hand.desk.token))
            if answer.is_good:
                self._watcher.insist_in_force(heat["id"], answer.document["lines"])

    def _look_at_the_end(self, _read: None) -> None:
        assert all(phone.is_empty for phone in self._phones), "an outbox was never emptied"
        self._watcher.insist_server_has(self._phones)
        self._watcher.insist_nobody_forgotten()
        if self._follower is not None:
            self._follower.insist_heard_all(self._watcher)

    def _committed(self, acts: int) -> None:
        self.played.acts += acts
        self._watcher.after_commit(acts)

    def _note_failure(self, _loop: object, context: dict[str, Any]) -> None:
        error = context.get("exception") or RuntimeError(context["message"])
        if not self._failed.done():
            self._failed.set_exception(error)

    def end(self) -> None:
        """Nothing is left of the meet but what came of it."""
        if self._server.app is not None:
            self._server.die()
        self._failed.cancel()
        self._loop.run_until_complete(end_all(list(asyncio.all_tasks(self._loop))))
        self.played.looks += self._watcher.looks
        self.played.digest = self._watcher.digest
        self._watcher.close()


async def end_all(tasks: list[asyncio.Task[Any]]) -> None:
    here = asyncio.current_task()
    for task in tasks:
        if task is not here:
            task.cancel()
    await asyncio.gather(*(one for one in tasks if one is not here), return_exceptions=True)

"""What everybody at a meet has in hand: lines to the server, a clock that runs fast, and the
account of what they did.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from random import Random
from time import perf_counter
from typing import Any

from app.record.kinds import Kind
from tests.bench.season.ledger import Account, Ledger
from tests.bench.season.lines import Answer, Line, NoAnswer
from tests.bench.season.meets import SeasonMeet
from tests.bench.season.plan import Season, Span
from tests.builders import Json
from tests.faults.acts import Act, Told
from tests.people import PIN

TRIES = 5
SEND_AGAIN_AFTER = 2.0
LONGEST_END_S = 40.0


@dataclass(slots=True)
class Stage:
    """One meet while it is played."""

    season: Season
    meet: SeasonMeet
    addresses: Sequence[str]
    ledger: Ledger
    chance: Random
    account: Account = field(default_factory=Account)
    ruled: dict[str, list[Json]] = field(default_factory=dict)
    """The rulings of each heat, with the moment of the answer."""
    tasks: list[asyncio.Future[Any]] = field(default_factory=list)
    """What everybody is at."""
    is_over: bool = False
    under_way: int = 0
    """Requests that wait for their answer."""
    _lines: list[Line] = field(default_factory=list)
    _people: int = 0

    def person(self, token: str = "") -> Person:
        """The next one who comes, at the next server process."""
        self._people += 1
        return Person(self, token, self.addresses[self._people % len(self.addresses)])

    def a_line(self, address: str, token: str) -> Line:
        line = Line(address, token, self.ledger)
        self._lines.append(line)
        return line

    def begin(self, *works: Coroutine[Any, Any, None]) -> None:
        """Somebody begins with something, beside all else."""
        self.tasks += [asyncio.ensure_future(one) for one in works]

    def insist_nobody_failed(self) -> None:
        """Raises what somebody stumbled over: a fault of the load itself."""
        for task in self.tasks:
            if task.done() and not task.cancelled():
                task.result()

    async def one_more(self) -> None:
        """Before each request: none begins once the time is up."""
        if self.is_over:
            await asyncio.get_running_loop().create_future()
        self.under_way += 1

    async def end(self) -> None:
        """What is under way comes to its end; then the devices are put away."""
        self.is_over = True
        with suppress(TimeoutError):
            async with asyncio.timeout(LONGEST_END_S):
                while self.under_way or self.account.flags_amiss():  # noqa: ASYNC110  (once a meet)
                    await asyncio.sleep(0.02)
        for task in self.tasks:
            task.cancel()
        for line in self._lines:
            line.close()
        for ended in await asyncio.gather(*self.tasks, return_exceptions=True):
            if isinstance(ended, Exception):
                raise ended

    def within(self, span: Span) -> float:
        return self.chance.uniform(*span)

    async def pause(self, seconds: float) -> None:
        """Wait, as the stadium counts."""
        wanted = max(seconds, 0.0) / self.season.pace
        began = perf_counter()
        await asyncio.sleep(wanted)
        self.ledger.late.append(perf_counter() - began - wanted)


class Person:
    """Somebody with a device, who has joined or looks at the board."""

    def __init__(self, stage: Stage, token: str, address: str) -> None:
        self.stage, self._token = stage, token
        # Browsers have several lines to a server: what is read does not wait behind what is done.
        self._acting, self._reading, self._feed = (stage.a_line(address, token) for _ in range(3))

    async def read(self, what: str, path: str) -> Answer:
        """Read something of the meet by the API, as often as it takes."""
        return await self._insist(
            lambda: self._acting.ask(what, "GET", f"/api/meets/{self.stage.meet.id}/{path}")
        )

    async def look(self, what: str, path: str, known: str | None = None) -> Answer | None:
        """Look at a page once; None where nothing came: another look follows anyhow."""
        await self.stage.one_more()
        try:
            return await self._reading.ask(what, "GET", path, known=known)
        except NoAnswer:
            return None
        finally:
            self.stage.under_way -= 1

    def follow(self) -> AsyncIterator[dict[str, Any]]:
        return self._feed.follow("feed, opened", f"/api/meets/{self.stage.meet.id}/feed")

    async def act(
        self,
        what: str,
        kind: Kind,
        subject: str,
        path: str,
        document: Any = None,
        etag: str | None = None,
        *,
        method: str = "PUT",
    ) -> Answer:
        """Do something, known to the record by its kind and subject; the same again until it is
        said what became of it.
        """
        address = f"/api/meets/{self.stage.meet.id}/{path}"
        body = document if isinstance(document, dict) else {}
        act = Act(kind, subject, method, address, self._token, body, etag)

        async def ask() -> Answer:
            account.attempt(act)
            answer = await self._acting.ask(what, method, address, document, etag)
            account.hear(act, Told(answer.status, answer.document, answer.etag))
            return answer

        account = self.stage.account
        return await self._insist(ask)

    async def sign(
        self, what: str, kind: Kind, subject: str, path: str, document: Json, etag: str | None
    ) -> Answer:
        """Have the statement shown, and sign what was shown with the PIN."""
        address = f"/api/meets/{self.stage.meet.id}/{path}?check=true"
        shown = await self._insist(
            lambda: self._acting.ask(f"{what}, shown", "PUT", address, document, etag)
        )
        if not shown.is_good:
            return shown
        seen = shown.document
        signed = {"pin": PIN, "shown_at": seen["shown_at"], "statement_sha256": seen["sha256"]}
        return await self.act(what, kind, subject, path, document | signed, etag)

    async def _insist(self, ask: Callable[[], Awaitable[Answer]]) -> Answer:
        """Ask until there is an answer that says yes or no; NoAnswer after some tries."""
        for attempt in range(TRIES):
            if attempt:
                await asyncio.sleep(SEND_AGAIN_AFTER)
            await self.stage.one_more()
            try:
                answer = await ask()
            except NoAnswer:
                continue
            finally:
                self.stage.under_way -= 1
            if answer.status < 500 and answer.status != 429:
                return answer
        raise NoAnswer


class KeptPage:
    """A page that stays up to date, as js/keeping_up.js does it: read at news, of which many at
    once are one or two reads, and from time to time without.
    """

    def __init__(
        self, person: Person, what: str, path: str, every: float, *, is_kept: bool = False
    ) -> None:
        self._person, self._what, self._path, self._every = person, what, path, every
        self._is_kept = is_kept
        """Whether what was read is asked for by its ETag, and sent only where it is another."""
        self._news = asyncio.Event()
        self._awaited: list[tuple[str, float]] = []
        self._known: str | None = None

    def hear(self) -> None:
        """Something has happened at the meet."""
        self._news.set()

    def time(self, span: str, since: float) -> None:
        """When the next read is through, note what has passed since a moment."""
        self._awaited.append((span, since))
        self._news.set()

    async def keep(self) -> None:
        """For as long as the page is open."""
        ledger, season = self._person.stage.ledger, self._person.stage.season
        while True:
            self._news.clear()
            awaited, self._awaited = self._awaited, []
            answer = await self._person.look(self._what, self._path, self._known)
            if answer is None or not (answer.is_good or answer.status == 304):
                self._awaited = awaited + self._awaited
            else:
                self._known = answer.etag if self._is_kept else None
                for span, since in awaited:
                    ledger.spans[span].append(answer.came_at - since)
            with suppress(TimeoutError):
                async with asyncio.timeout(self._every / season.pace):
                    await self._news.wait()

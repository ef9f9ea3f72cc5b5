"""Umpires with their phones: what they show and write, and the outbox that sends it.

The outbox is that of `app/pages/assets/zone/` in a few lines: each item has an id that the phone
chose, flags go before accounts and in their order, and an item is given up by nothing but the
service's own word. Whatever came back as an answer is kept to be held against the database.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from app.clock import rfc3339
from app.ids import new_id
from tests.builders import Json, a_call, a_report
from tests.simulation.network import Line
from tests.simulation.server import Answer, a_request
from tests.simulation.virtual import VirtualClock

LEAST_WAIT, LONGEST_WAIT = 2.0, 60.0
WAITING, RECEIVED, REFUSED, REPLACED = "waiting", "received", "refused", "replaced"
BUSY = frozenset({408, 425, 429, 503})
SEEN: tuple[Json, ...] = (
    {"seen": "pass_completed_beyond_zone", "baton": {"metres": 1.2, "uncertainty": 0.3}},
    {"seen": "pass_completed_beyond_zone", "baton": {"metres": 0.1, "uncertainty": 0.3}},
)


class Witness(Protocol):
    """Holds what somebody was told against what is stored at that moment."""

    def hear(self, kind: str, ident: str, answer: Answer) -> None: ...

    def insist_ruled_as_seen(self, case: str, seen: Iterable[Json]) -> None: ...

    def insist_announced_as_seen(self, told: str, seen: Iterable[Json]) -> None: ...


@dataclass(eq=False)
class Item:
    """Something to be sent, and what has become of it."""

    kind: str
    id: str
    order: int
    path: str
    document: Json
    after: Item | None = None
    etag: str | None = None
    state: str = WAITING
    misses: int = 0
    not_before: float = 0.0
    answer: Answer | None = None

    @property
    def method(self) -> str:
        return "POST" if self.kind == "withdrawal" else "PUT"

    def is_account_of(self, report: str) -> bool:
        return self.kind == "report" and self.id == report

    @property
    def place(self) -> tuple[bool, int, int]:
        """Flags first; what was not taken lately stands behind what was not tried as often."""
        return self.kind != "call", self.misses, self.order


@dataclass(eq=False)
class Phone:
    """One umpire's phone. What `items` holds outlives its page; what it is doing does not."""

    meet: str
    official: str
    token: str
    post: str
    line: Line
    clock: VirtualClock
    chance: random.Random
    witness: Witness
    drift_ms: int
    items: list[Item] = field(default_factory=list)
    fresh: asyncio.Event = field(default_factory=asyncio.Event)

    @property
    def is_empty(self) -> bool:
        return all(one.state != WAITING for one in self.items)

    def put(
        self,
        kind: str,
        ident: str,
        path: str,
        document: Json,
        after: Item | None = None,
        etag: str | None = None,
    ) -> Item:
        """Keep something to be sent."""
        address = f"/api/meets/{self.meet}/{path}"
        item = Item(kind, ident, len(self.items), address, document, after, etag)
        self.items.append(item)
        self.fresh.set()
        return item

    def replace(self, old: Item, new: Item) -> None:
        """An account that is written again takes the place of one that still lies there, as in
        `report.js`; what was to follow that follows this.
        """
        if old.state != WAITING:
            return
        old.state = REPLACED
        for one in self.items:
            if one.after is old:
                one.after = new

    async def send_all(self) -> None:
        """The page at work, for as long as it is open."""
        wait = LEAST_WAIT
        while True:
            item = self._next()
            if item is None:
                await self._something_to_do()
            elif await self._send(item):
                wait = LEAST_WAIT
            else:
                await asyncio.sleep(wait * self.chance.uniform(0.75, 1.25))
                wait = min(wait * 2, LONGEST_WAIT)

    async def _something_to_do(self) -> None:
        self.fresh.clear()
        now = asyncio.get_running_loop().time()
        due = [one.not_before - now for one in self.items if one.state == WAITING]
        try:
            await asyncio.wait_for(self.fresh.wait(), max(LEAST_WAIT, min(due)) if due else None)
        except TimeoutError:
            return

    def _next(self) -> Item | None:
        now = asyncio.get_running_loop().time()
        able = [
            one
            for one in self.items
            if one.state == WAITING and one.not_before <= now and not self._is_behind(one)
        ]
        return min(able, key=lambda one: one.place, default=None)

    def _is_behind(self, item: Item) -> bool:
        if item.after is not None and item.after.state != RECEIVED:
            return True
        return item.kind == "call" and any(
            one.kind == "call" and one.state == WAITING and one.order < item.order
            for one in self.items
        )

    async def _send(self, item: Item) -> bool:
        """Whether the line is there: what came of the item is noted with it."""
        etag = item.etag
        if item.kind == "withdrawal":
            assert item.after is not None
            assert item.after.answer is not None
            etag = item.after.answer.etag
        answer = await self.line.ask(
            a_request(item.method, item.path, self.token, item.document, etag)
        )
        if answer is not None and item.kind == "withdrawal" and answer.status in {409, 412}:
            answer = await self._as_it_was_done(item, answer)
        if item.state != WAITING:  # replaced while it was on its way: nobody hears of it
            return answer is not None
        if answer is None or answer.status in BUSY:
            item.misses += 1
            return False
        assert answer.status < 500, (answer.status, answer.content)
        item.state, item.answer = (RECEIVED if answer.is_good else REFUSED), answer
        self.witness.hear(item.kind, item.id, answer)
        return True

    async def _as_it_was_done(self, item: Item, refused: Answer) -> Answer | None:
        """The answer to a withdrawal may have been lost: the report itself says what it is."""
        address = item.path.removesuffix("/withdraw")
        found = await self.line.ask(a_request("GET", address, self.token))
        is_done = found is not None and found.document.get("state") == "withdrawn"
        return found if found is None or is_done else refused

    def now(self) -> Json:
        """The phone's clock, which is not the server's."""
        return {"at": rfc3339(self.clock.now()), "offset_ms": self.drift_ms, "error_ms": 40}


async def open_and_close(phone: Phone) -> None:
    """A page that is closed or reloaded every now and then, in the middle of whatever it does."""
    while True:
        page = asyncio.ensure_future(phone.send_all())
        try:
            await asyncio.wait({page}, timeout=phone.chance.expovariate(1 / 1500))
            if page.done():
                page.result()
        finally:
            page.cancel()
        await asyncio.sleep(phone.chance.expovariate(1 / 30))


async def answer_questions(phone: Phone) -> None:
    """An account that the head official has returned is written again, with more words."""
    answered: set[tuple[str, str]] = set()
    while True:
        await asyncio.sleep(phone.chance.expovariate(1 / 300))
        asked = a_request("GET", f"/api/meets/{phone.meet}/reports", phone.token)
        found = await phone.line.ask(asked)
        for one in found.document if found is not None and found.is_good else ():
            ident, etag = one["id"], f'"v{one["version"]}"'
            if one["state"] == "returned" and (ident, etag) not in answered:
                answered.add((ident, etag))
                account = next(item for item in phone.items if item.is_account_of(ident))
                words = f"{account.document['words']} It was a metre and more."
                sent = account.document | {"words": words}
                again = phone.put("again", ident, f"reports/{ident}", sent, etag=etag)
                phone.replace(account, again)


async def watch_a_race(phone: Phone, heat: Mapping[str, Any]) -> None:
    """An umpire sees a race: a flag, perhaps an account, and perhaps second thoughts."""
    chance, lane = phone.chance, phone.chance.choice((3, 4, 5))
    await asyncio.sleep(chance.uniform(15, 70))
    report, sees = new_id(), chance.random()
    if sees < 0.4:
        sent = a_call(heat["id"], phone.post, "white", clock=phone.now())
        ident = new_id()
        phone.put("call", ident, f"calls/{ident}", sent)
        return
    if sees < 0.85:
        sent = a_call(heat["id"], phone.post, "yellow", clock=phone.now(), lane=lane, report=report)
        ident = new_id()
        phone.put("call", ident, f"calls/{ident}", sent)
    await asyncio.sleep(chance.expovariate(1 / 90))
    account = phone.put(
        "report",
        report,
        f"reports/{report}",
        a_report(
            heat["id"],
            phone.post,
            lane=lane,
            observation=chance.choice(SEEN),
            words=f"Seen from the post, note {chance.randrange(1000)}.",
            clock=phone.now(),
        ),
    )
    if chance.random() < 0.2:
        await asyncio.sleep(chance.expovariate(1 / 240))
        why = {"reason": "It was another lane."}
        phone.put("withdrawal", report, f"reports/{report}/withdraw", why, account)

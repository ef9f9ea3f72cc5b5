"""Lines between people and the server: what goes over them is late, lost, doubled or overtaken."""

from __future__ import annotations

import asyncio
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from tests.simulation.server import Answer, Request, Server

PATIENCE = 20.0
"""Seconds without an answer after which the sender takes the line for dead."""
LONGEST_DELAY = 45.0


@dataclass
class Line:
    """One person's line: how often it loses or doubles what goes over it, how slow it is, and when
    it is not there at all.
    """

    server: Server
    chance: random.Random
    told: Counter[str]
    loses: float = 0.0
    doubles: float = 0.0
    delay: float = 0.02
    gone: Sequence[tuple[float, float]] = field(default_factory=tuple)
    copies: Counter[Request] = field(default_factory=Counter)
    """How often each request was put on its way."""

    async def ask(self, request: Request) -> Answer | None:
        """The answer, None where none came in time: it may be done or not, or be done later."""
        loop = asyncio.get_running_loop()
        coming: asyncio.Future[Answer] = loop.create_future()
        for _ in range(1 + (self.chance.random() < self.doubles)):
            self.copies[request] += 1
            if not self._is_lost("request"):
                loop.call_later(self._on_its_way(), self._arrive, request, coming)
        try:
            return await asyncio.wait_for(coming, PATIENCE)
        except TimeoutError:
            return None

    def _arrive(self, request: Request, coming: asyncio.Future[Answer]) -> None:
        self.told["requests"] += 1
        self.server.take(request, lambda answer: self._go_back(answer, coming))

    def _go_back(self, answer: Answer, coming: asyncio.Future[Answer]) -> None:
        if not self._is_lost("answer"):
            loop = asyncio.get_running_loop()
            loop.call_later(self._on_its_way(), self._hand_over, answer, coming)

    def _hand_over(self, answer: Answer, coming: asyncio.Future[Answer]) -> None:
        if not coming.done():
            coming.set_result(answer)

    def _is_lost(self, what: str) -> bool:
        now = asyncio.get_running_loop().time()
        is_lost = self.chance.random() < self.loses or any(
            since <= now < until for since, until in self.gone
        )
        self.told[f"lost {what}s"] += is_lost
        return is_lost

    def _on_its_way(self) -> float:
        return min(self.chance.expovariate(1 / self.delay), LONGEST_DELAY)


def a_bad_line(server: Server, chance: random.Random, told: Counter[str], lasts: float) -> Line:
    """A phone's line in a full grandstand, drawn by chance."""
    gone = []
    for _ in range(chance.choice((0, 1, 1, 2))):
        since = chance.uniform(0, lasts)
        gone.append((since, since + chance.choice((30, 300, 1800, 3600))))
    return Line(
        server,
        chance,
        told,
        loses=chance.choice((0.0, 0.02, 0.1, 0.35)),
        doubles=chance.choice((0.0, 0.05, 0.2)),
        delay=chance.choice((0.05, 0.4, 3.0, 9.0)),
        gone=gone,
    )

"""What many ask for at the same time is made once, and is good for a short while.

A stand full of phones reads the notice board every few seconds. Whoever comes while it is being
made waits for that one making; whoever comes soon after gets what was made.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Hashable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Generic, TypeVar

Thing = TypeVar("Thing")

LASTS = timedelta(seconds=2)
MOST = 64
"""How many things are kept at the most; the oldest go first."""


@dataclass(frozen=True, slots=True)
class _Kept(Generic[Thing]):
    making: asyncio.Future[Thing]
    since: datetime

    def is_good(self, now: datetime) -> bool:
        return self.since <= now < self.since + LASTS


class MadeOnce(Generic[Thing]):
    """Keeps what was made under its key for two seconds; a failure is told and not kept."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, _Kept[Thing]] = {}

    async def get(
        self, key: Hashable, now: datetime, make: Callable[[], Awaitable[Thing]]
    ) -> Thing:
        """The thing of a key: as it was made just now, else made by `make`."""
        kept = self._kept.get(key)
        if kept is None or not kept.is_good(now):
            kept = _Kept(asyncio.ensure_future(make()), now)
            self._keep(key, kept)
        try:
            # Whoever goes away while it is being made does not end it for those who wait.
            return await asyncio.shield(kept.making)
        except Exception:
            if self._kept.get(key) is kept:
                del self._kept[key]
            raise

    def _keep(self, key: Hashable, kept: _Kept[Thing]) -> None:
        self._kept.pop(key, None)
        self._kept[key] = kept
        while len(self._kept) > MOST:
            del self._kept[next(iter(self._kept))]

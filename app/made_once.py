"""What many ask for is made once, and is good for a while, or until it is known to be another.

A stand full of phones reads the notice board every few seconds. Whoever comes while it is being
made waits for that one making; whoever comes afterwards gets what was made.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Hashable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Generic, TypeVar

Thing = TypeVar("Thing")

MOST = 128
"""How many things are kept at the most; the oldest go first."""


@dataclass(frozen=True, slots=True)
class _Kept(Generic[Thing]):
    making: asyncio.Future[Thing]
    since: datetime
    version: Hashable


class MadeOnce(Generic[Thing]):
    """Keeps what was made under its key for so long; a failure is told and not kept."""

    def __init__(self, lasts: timedelta) -> None:
        self._lasts = lasts
        self._kept: dict[Hashable, _Kept[Thing]] = {}

    async def get(
        self,
        key: Hashable,
        now: datetime,
        make: Callable[[], Awaitable[Thing]],
        version: Hashable = None,
    ) -> Thing:
        """The thing of a key in a version: as it was made a while ago, else made by `make`."""
        kept = self._kept.get(key)
        if kept is None or kept.version != version or not self._is_fresh(kept, now):
            kept = _Kept(asyncio.ensure_future(make()), now, version)
            self._keep(key, kept)
        # Whoever goes away while it is being made does not end it for those who wait.
        return await asyncio.shield(kept.making)

    def _is_fresh(self, kept: _Kept[Thing], now: datetime) -> bool:
        return kept.since <= now < kept.since + self._lasts

    def _keep(self, key: Hashable, kept: _Kept[Thing]) -> None:
        self._kept.pop(key, None)
        self._kept[key] = kept

        def forget_failed(making: asyncio.Future[Thing]) -> None:
            if (making.cancelled() or making.exception()) and self._kept.get(key) is kept:
                del self._kept[key]

        kept.making.add_done_callback(forget_failed)
        while len(self._kept) > MOST:
            del self._kept[next(iter(self._kept))]

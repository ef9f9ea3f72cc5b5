"""A time that costs nothing, and chance that a seed repeats.

The event loop skips every wait: when nothing is left to be done now, its time moves on to the next
thing that is due. What else would differ from run to run comes from the seed too: ids, the salts of
the record, and the order in which threads come back, since none is started.
"""

from __future__ import annotations

import asyncio
import random
import selectors
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from typing import Any
from unittest.mock import patch

MORNING = datetime(2026, 6, 13, 8, 0, tzinfo=UTC)


class VirtualLoop(asyncio.SelectorEventLoop):
    """An event loop whose waits are over at once."""

    def __init__(self) -> None:
        self._reached = 0.0
        super().__init__(_Skipping(self))

    def time(self) -> float:
        return self._reached

    def skip(self, seconds: float) -> None:
        self._reached += seconds


class _Skipping(selectors.SelectSelector):
    def __init__(self, loop: VirtualLoop) -> None:
        super().__init__()
        self._loop = loop

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        if timeout is None:
            raise RuntimeError("everybody in the simulation waits for somebody else, for ever")
        if timeout > 0:
            self._loop.skip(timeout)
            return []
        return super().select(0)


class VirtualClock:
    """Tells the time of a virtual loop, to the microsecond."""

    def __init__(self, loop: VirtualLoop) -> None:
        self._loop = loop

    def now(self) -> datetime:
        return MORNING + timedelta(microseconds=round(self._loop.time() * 1_000_000))

    def seconds(self) -> float:
        """Since the loop was made."""
        return self._loop.time()

    def seconds_until(self, instant: datetime) -> float:
        return max(0.0, (instant - self.now()) / timedelta(seconds=1))


@contextmanager
def all_from(chance: random.Random, clock: VirtualClock) -> Iterator[None]:
    """Ids and salts come from this chance, and no thread is started."""

    def an_id() -> str:
        return uuid_at(clock.now(), chance)

    with (
        patch("app.ids.uuid7", an_id),
        patch("secrets.token_bytes", chance.randbytes),
        patch("anyio.to_thread.run_sync", _here_and_now),
        patch("app.access.pin_threads._apart", _here_and_now),
        # Nobody comes while this time stands still: what is there now makes up a batch.
        patch("app.store.intake.monotonic", clock.seconds),
        patch("app.store.intake.LONGEST_PAUSE", 0.0),
    ):
        yield


def uuid_at(instant: datetime, chance: random.Random) -> str:
    """A UUID of version 7 (RFC 9562, section 5.7) of this instant."""
    milliseconds = int(instant.timestamp() * 1000)
    head = f"{milliseconds:012x}"
    tail = f"{chance.getrandbits(76):019x}"
    variant = "89ab"[int(tail[3], 16) % 4]
    return f"{head[:8]}-{head[8:]}-7{tail[:3]}-{variant}{tail[4:7]}-{tail[7:]}"


async def _here_and_now(act: Callable[..., Any], *what: Any, **_how: Any) -> Any:
    return act(*what)

"""How an event loop's actions reach the writer: one batch at a time.

The loop and the writer's thread share one interpreter; where both have work they pass it to and fro
with every statement, and each passing costs. So while a batch is with the writer the loop gathers
what comes in, and hands over the next batch once the answers are out and some turns of the loop
brought nothing more. Measured with 16 clients: 15 actions in a group instead of 8, a quarter of
the switches between threads, 15 % more reports a second.

Whoever is answered may send again, and those of one batch are answered together: a wave. Where it
is seen to begin, the rest of it is waited for while it comes without a pause. Else every second
batch was the quickest sender's action alone, and took half of what the other fifteen took.
"""

from __future__ import annotations

import asyncio
from time import monotonic

from app.refusals import Unavailable
from app.store.writer import Job, Writer, settle

QUIET_TURNS = 2
"""So many turns of the loop without a new action end the gathering."""
LONGEST_PAUSE = 0.001
"""Seconds without a new action after which those of the last batch are not waited for."""
LONGEST_GATHERING = 0.005
"""Seconds that a gathering takes at the most."""


class Intake:
    """The actions of one event loop that are on their way to the writer. Used on that loop only."""

    def __init__(self, loop: asyncio.AbstractEventLoop, writer: Writer) -> None:
        self.loop = loop
        self._writer = writer
        self._gathered: list[Job] = []
        self._under_way = 0
        self._last_batch = self._awaited = 0
        self._gathering = False
        self._until = self._came = 0.0

    @property
    def waiting(self) -> int:
        """How many actions have not been handed over yet."""
        return len(self._gathered)

    def take(self, job: Job) -> None:
        """Take an action along with the next batch; its outcome will be in its receipt."""
        self._gathered.append(job)
        self._go_on()

    def deliver(self, jobs: list[Job]) -> None:
        """Called from the writer's thread with outcomes: it wakes the loop once for all of them."""
        self.loop.call_soon_threadsafe(self._settle, jobs)

    def _go_on(self) -> None:
        if self._gathered and not self._under_way and not self._gathering:
            self._gathering = True
            # Not the loop's time: some count in whole milliseconds.
            self._came = monotonic()
            # Where as many came while the last batch was under way, they come in no wave.
            is_wave = 2 * len(self._gathered) < self._last_batch
            self._awaited = self._last_batch if is_wave else 0
            self._until = self._came + LONGEST_GATHERING
            self.loop.call_soon(self._look, len(self._gathered), QUIET_TURNS)

    def _look(self, seen: int, turns: int) -> None:
        now, here = monotonic(), len(self._gathered)
        if here > seen:
            turns, self._came = QUIET_TURNS, now
        is_awaited = here < self._awaited and now < self._came + LONGEST_PAUSE
        if (turns or is_awaited) and now < self._until:
            self.loop.call_soon(self._look, here, max(turns - 1, 0))
        else:
            self._hand_over()

    def _hand_over(self) -> None:
        batch, self._gathered, self._gathering = self._gathered, [], False
        self._under_way = self._last_batch = len(batch)
        for job in batch:
            try:
                self._writer.submit(job)
            except Unavailable as refusal:
                job.error = refusal
                self._settle([job])

    def _settle(self, jobs: list[Job]) -> None:
        self._under_way -= len(jobs)
        for job in jobs:
            settle(job.receipt, job)
        self._go_on()

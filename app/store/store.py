"""The store: how the rest of the program writes (`act`) and reads (`read`, `read_apart`).

Reading on SQLite happens on the event loop itself: short, indexed, bounded statements answer
faster than a thread could be woken for them. On PostgreSQL a read waits for a socket, so it runs
in a thread, together with what else is asked meanwhile. `read_apart` is for what takes long on
either (an export, the facts of a form).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy import Connection, exc
from starlette.concurrency import run_in_threadpool

from app.clock import Clock
from app.ids import MeetId
from app.refusals import Unavailable
from app.store.action import Action, Actor, Asks, RecordKeeper
from app.store.causes import cause_of
from app.store.engine import Engines, open_engines
from app.store.gathering import Gathering
from app.store.intake import Intake
from app.store.writer import Job, Notify, Writer

Result = TypeVar("Result")
Query = Callable[[Connection], Result]


@dataclass(frozen=True, slots=True)
class Load:
    """What waits for the writer of this process, and what it has taken up since it started."""

    waiting: int
    groups: int
    actions: int


class Store:
    """One database, its writer and its readers."""

    def __init__(
        self,
        database_url: str,
        clock: Clock,
        keeper: RecordKeeper,
        notify: Notify = lambda _committed: None,
    ) -> None:
        self.engines: Engines = open_engines(database_url)
        self.clock = clock
        self._writer = Writer(self.engines, clock, keeper, notify)
        self._loop_reader: Connection | None = None
        self._intake: Intake | None = None
        self._gathering: Gathering | None = None

    def start(self) -> None:
        self._writer.start()

    def stop(self) -> None:
        """Finish the queued actions, then close all connections."""
        self._writer.stop()
        if self._loop_reader is not None:
            self._loop_reader.close()
        self.engines.dispose()

    @property
    def takes_work(self) -> bool:
        """Whether actions are run: false before the start and after the end of the writer."""
        return self._writer.is_at_work

    @property
    def load(self) -> Load:
        """How much the writer has to do."""
        gathered = self._intake.waiting if self._intake is not None else 0
        return Load(gathered + self._writer.waiting, self._writer.groups, self._writer.actions)

    async def act(
        self,
        meet_id: MeetId,
        actor: Actor,
        action: Action[Result],
        asks: Asks | None = None,
    ) -> Result:
        """Run an action; returns after its commit, or raises why nothing was changed.

        `asks` is what it will ask first, so that the questions of a group can be asked together.
        """
        loop = asyncio.get_running_loop()
        receipt: asyncio.Future[Result] = loop.create_future()
        if self._intake is None or self._intake.loop is not loop:
            self._intake = Intake(loop, self._writer)
        deliver = self._intake.deliver
        self._intake.take(Job(meet_id, actor, action, deliver, receipt=receipt, asks=asks))
        return await receipt

    def act_now(self, meet_id: MeetId, actor: Actor, action: Action[Result]) -> Result:
        """The same for callers without an event loop."""
        outcome: Result = self._writer.act_now(meet_id, actor, action)
        return outcome

    @property
    def _failures(self) -> tuple[type[Exception], ...]:
        """What a read ends with where the database, or the way to it, is at fault."""
        return exc.DBAPIError, exc.TimeoutError, self.engines.driver_error

    async def read(self, query: Query[Result]) -> Result:
        """Answer a short question from one consistent snapshot."""
        if self.engines.is_sqlite:
            return self._read_here(query)
        loop = asyncio.get_running_loop()
        if self._gathering is None or self._gathering.loop is not loop:
            self._gathering = Gathering(loop, self.engines)
        try:
            answer: Result = await self._gathering.ask(query)
        except self._failures as error:
            raise _cannot_answer(error) from error
        return answer

    async def read_apart(self, query: Query[Result]) -> Result:
        """Answer a long question from one consistent snapshot, off the event loop."""
        return await run_in_threadpool(self.read_now, query)

    def read_now(self, query: Query[Result]) -> Result:
        """Answer a question in this thread."""
        try:
            with self.engines.reading.connect() as conn:
                if not self.engines.is_sqlite:
                    # Repeatable read: one snapshot from the first statement on. It ends with a
                    # commit, for a rollback would have the driver forget its statements.
                    answer = query(conn)
                    conn.commit()
                    return answer
                return _in_one_snapshot(conn, query)
        except self._failures as error:
            raise _cannot_answer(error) from error

    def _read_here(self, query: Query[Result]) -> Result:
        # The event loop keeps one connection of its own: checking one out costs more than the
        # question itself. Nothing else runs on the loop while it is answered.
        if self._loop_reader is None:
            self._loop_reader = self.engines.reading.connect()
        try:
            return _in_one_snapshot(self._loop_reader, query)
        except self._failures as error:
            self._loop_reader.close()
            self._loop_reader = None
            raise _cannot_answer(error) from error


def _cannot_answer(error: Exception) -> Unavailable:
    return Unavailable(f"The store cannot answer just now: {cause_of(error)}. Try again.")


def _in_one_snapshot(conn: Connection, query: Query[Result]) -> Result:
    """Answer from one snapshot of SQLite, begun and ended straight on the driver."""
    run = conn.connection.cursor().execute
    run("BEGIN")
    try:
        return query(conn)
    finally:
        run("ROLLBACK")

"""Short questions to PostgreSQL, gathered as the writer gathers actions.

A question waits for a socket, so it is asked in a thread. Waking the thread, opening the snapshot
and closing it cost several times what the question does; so whatever has been asked while the last
group was answered makes up the next one, and one thread answers it from one snapshot. That snapshot
is opened after the last of them was asked: each sees all that was committed before it came.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError
from starlette.concurrency import run_in_threadpool

from app.refusals import Unavailable
from app.store.engine import Engines

LARGEST_GROUP = 64
GROUPS_AT_ONCE = 2
"""While one waits for the database the other can read what it was told."""

Query = Callable[[Connection], Any]


@dataclass(slots=True, eq=False)
class _Asked:
    query: Query
    answer: asyncio.Future[Any]
    result: Any = None
    error: Exception | None = None
    is_answered: bool = False

    def settle(self, why_not: Exception) -> None:
        """Give the answer; `why_not` where nobody came to it, since nothing would be one too."""
        if self.answer.done():  # whoever asked has gone
            return
        if not self.is_answered:
            self.answer.set_exception(why_not)
        elif self.error is not None:
            self.answer.set_exception(self.error)
        else:
            self.answer.set_result(self.result)


class Gathering:
    """The questions that one event loop asks. Used on that loop only."""

    def __init__(self, loop: asyncio.AbstractEventLoop, engines: Engines) -> None:
        self.loop = loop
        self._engines = engines
        self._database_errors = (DBAPIError, engines.driver_error)
        self._waiting: list[_Asked] = []
        self._groups: set[asyncio.Task[None]] = set()

    async def ask(self, query: Query) -> Any:
        """The answer to a question; raises what it raises."""
        asked = _Asked(query, self.loop.create_future())
        self._waiting.append(asked)
        if len(self._groups) < GROUPS_AT_ONCE:
            self._groups.add(self.loop.create_task(self._answer_all()))
        return await asked.answer

    async def _answer_all(self) -> None:
        try:
            while self._waiting:
                group = self._waiting[:LARGEST_GROUP]
                del self._waiting[:LARGEST_GROUP]
                await self._answer_group(group)
        finally:
            # Here and now: a question that came before a callback ran would wait for the next one.
            self._groups.discard(cast("asyncio.Task[None]", asyncio.current_task()))

    async def _answer_group(self, group: Sequence[_Asked]) -> None:
        error: Exception = Unavailable("The server is shutting down.")
        try:
            await run_in_threadpool(self._answer, group)
        except Exception as failed:  # noqa: BLE001  # no connection, or no thread, could be had
            error = failed
        finally:
            for asked in group:
                asked.settle(error)

    def _answer(self, group: Sequence[_Asked]) -> None:
        """Raises where no line can be had: then nobody need wait for one by themselves."""
        with self._engines.reading.connect() as conn:
            try:
                for asked in group:
                    self._answer_one(conn, asked)
                # Not a rollback: the driver would forget its statements.
                conn.commit()
                asked_anew: Sequence[_Asked] = ()
            except self._database_errors as error:
                # It gave up the snapshot, with all that was asked in it: each is asked by itself.
                asked_anew = group if len(group) > 1 else ()
                if not asked_anew:
                    group[0].error, group[0].is_answered = error, True
        for asked in asked_anew:
            self._answer([asked])

    def _answer_one(self, conn: Connection, asked: _Asked) -> None:
        asked.error = None
        try:
            asked.result = asked.query(conn)
        except self._database_errors:
            raise
        except Exception as error:  # noqa: BLE001  # a refusal, or a fault: whoever asked gets it
            asked.error = error
        asked.is_answered = True

"""The one writer of a process: runs queued actions one after another and commits them in groups.

An action that fails never fails its neighbours: the group is then run again, each action in its
own savepoint. So an action may be run again, and does nothing but read and write the store. What
has gathered while the last group was being written forms the next group, and one disk sync serves
all of it. Answers go out after the commit. Within a meet, actions are serial on both engines:
SQLite has one writer, and on PostgreSQL each group locks the record heads of its meets in a fixed
order. There what a group asks first is asked together, and what it writes may be owed for a while
(`by_name.py`): it is settled before a savepoint ends, and before the commit.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Transaction
from sqlalchemy.exc import DBAPIError, OperationalError

from app.clock import Clock
from app.ids import MeetId
from app.refusals import Unavailable
from app.store.action import (
    Action,
    Actor,
    Asks,
    Committed,
    Done,
    RecordGroup,
    RecordKeeper,
    Unit,
)
from app.store.by_name import Answers, line_of
from app.store.causes import GONE, NEVER_KEPT, cause_of, is_unreadable
from app.store.engine import Engines
from app.store.hearing import say
from app.store.prepared import sendings

log = logging.getLogger(__name__)

LARGEST_GROUP = 128
UNREADABLE = (
    "Something that this needs cannot be read in the store. Nothing was changed. Keep what you "
    "wrote, and tell whoever runs the service: `check --database` says what is wrong."
)
"""For one act alone, and not in the database's words: these hold what is stored."""


class _Stumble(Exception):
    """One action of a group has failed."""


class _CommitFailed(Exception):
    """The store was asked to commit and did not say that it had."""


Ahead = Mapping["Job", Answers]
"""What was asked ahead for some actions of a group."""
Perform = Callable[[Connection, RecordGroup, "Job", Ahead], None]
Deliver = Callable[["list[Job]"], object]
Notify = Callable[[Committed], object]


@dataclass(slots=True, eq=False)
class Job:
    """One queued action and, once its group is through, its outcome."""

    meet_id: MeetId
    actor: Actor
    action: Action[Any]
    deliver: Deliver
    receipt: Any = None
    asks: Asks | None = None
    result: Any = field(default=None)
    error: BaseException | None = None


class Writer:
    """Owns the writing connection and the thread that uses it."""

    def __init__(
        self, engines: Engines, clock: Clock, keeper: RecordKeeper, notify: Notify
    ) -> None:
        self._engines = engines
        self._clock = clock
        self._keeper = keeper
        self._notify = notify
        self._jobs: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="writer", daemon=True)
        self._stopping = False
        self._ended = False
        self._connection: Connection | None = None
        self.groups = 0
        self.actions = 0
        """How many groups were taken up, and how many actions were in them."""

    @property
    def waiting(self) -> int:
        """How many actions are queued."""
        return self._jobs.qsize()

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Finish what is queued, then end the thread."""
        self._stopping = True
        self._jobs.put(None)
        self._thread.join()

    @property
    def is_at_work(self) -> bool:
        """Whether what is queued will be run: the thread has been started and has not ended."""
        return self._thread.is_alive() and not self._ended

    def submit(self, job: Job) -> None:
        """Queue a job; its `deliver` is called from the writer's thread, once a group."""
        if self._stopping:
            raise Unavailable("The server is shutting down. Nothing was changed; try again.")
        self._jobs.put(job)
        if self._ended:  # queued behind the thread's last look
            self._turn_away_queued()

    def act_now(self, meet_id: MeetId, actor: Actor, action: Action[Any]) -> Any:
        """Run one action and wait for its commit. For callers without an event loop."""
        outcome: Future[Any] = Future()

        def deliver(jobs: list[Job]) -> None:
            for job in jobs:
                settle(job.receipt, job)

        self.submit(Job(meet_id, actor, action, deliver, receipt=outcome))
        return outcome.result()

    def _run(self) -> None:
        group: list[Job] = []
        try:
            last = False
            while not last and (first := self._jobs.get()) is not None:
                group, last = self._gather(first)
                self._write(group)
                self._hand_out(group)
                group = []
        except BaseException:
            log.exception("the writer has ended")
        finally:
            # Whatever ended it, nobody may wait for ever for an answer.
            self._ended = True
            self._turn_away(group, "The server failed while it kept this; send it again.")
            self._turn_away_queued()
            self._give_up_connection()

    def _turn_away_queued(self) -> None:
        while True:
            try:
                job = self._jobs.get_nowait()
            except queue.Empty:
                return
            if job is not None:
                self._turn_away([job], "The server stores nothing just now; send it again later.")

    def _turn_away(self, group: list[Job], reason: str) -> None:
        for job in group:
            job.error = job.error or Unavailable(reason)
        self._hand_out(group)

    def _gather(self, first: Job) -> tuple[list[Job], bool]:
        group = [first]
        while len(group) < LARGEST_GROUP:
            try:
                job = self._jobs.get_nowait()
            except queue.Empty:
                break
            if job is None:
                return group, True
            group.append(job)
        return group, False

    def _write(self, group: list[Job]) -> None:
        self.groups += 1
        self.actions += len(group)
        try:
            committed = self._commit_on_a_whole_line(group)
        except Exception as error:  # whatever it was, nobody may be told "stored"
            log.exception("a group of %d actions was not committed", len(group))
            reason = _why_not_kept(error)
            for job in group:
                # Also where an action was refused: what the refusal rested on may not be stored.
                job.error = reason
            self._give_up_connection()
            return
        if committed.kinds:
            self._tell(committed)

    def _tell(self, committed: Committed) -> None:
        try:
            self._notify(committed)
        except Exception:  # what is stored stays stored, and the next group is to be written
            log.exception("those who follow the record were not told of a commit")

    def _give_up_connection(self) -> None:
        """After a failed group the next one starts on a fresh connection."""
        given_up, self._connection = self._connection, None
        if given_up is not None:
            self._engines.let_go(given_up)
            given_up.invalidate()
            given_up.close()

    def _commit_on_a_whole_line(self, group: list[Job]) -> Committed:
        """On the line that is there; on a fresh one where that had broken before anything was asked
        to be kept, as when the database was started again while nobody sent.
        """
        was_there = self._connection is not None
        try:
            return self._commit_group(group)
        except Exception as error:
            begun = isinstance(error, _CommitFailed)
            if begun or not was_there or cause_of(error) != GONE:
                raise
            log.warning("a line to the database had broken; %d actions begin anew", len(group))
        self._give_up_connection()
        for job in group:
            job.error = None
        return self._commit_group(group)

    def _commit_group(self, group: list[Job]) -> Committed:
        """One transaction for all of them: first without savepoints, since nearly all succeed.

        Where one fails, the whole is undone and run again with a savepoint each, so that the one
        that fails takes nothing of its neighbours along.
        """
        try:
            return self._run_group(group, self._perform, ahead=True)
        except (_Stumble, DBAPIError, self._engines.driver_error) as error:
            # The database's: what was owed is found to fail when it is settled.
            if self._is_lost(error):
                raise
            return self._run_group(group, self._perform_in_savepoint, ahead=False)

    def _run_group(self, group: list[Job], perform: Perform, *, ahead: bool) -> Committed:
        meets = frozenset(job.meet_id for job in group)
        if self._connection is None:
            self._connection = self._engines.writing.connect()
        conn = self._connection
        with conn.begin() as transaction:
            settle = None if ahead else self._engines.settle
            record = self._keeper.open_group(conn, meets, settle)
            answers = self._ask_ahead(conn, group) if ahead else {}
            for job in group:
                perform(conn, record, job, answers)
            committed = record.finish()
            if not self._engines.is_sqlite:
                say(conn, committed.sizes)
            self._engines.settle(conn)
            _commit(transaction)
        return committed

    def _ask_ahead(self, conn: Connection, group: list[Job]) -> Ahead:
        """What the actions of a group will ask first, asked together; on SQLite they ask at once.

        Only of the first about each thing, and not behind one that may write anything: an answer
        must be what the action would be told in its turn.
        """
        first: list[Job] = []
        seen: set[str] = set()
        for job in group:
            if job.asks is None:
                break
            if seen.isdisjoint(job.asks.about):
                first.append(job)
            seen |= job.asks.about
        if self._engines.is_sqlite or not first:
            return {}
        try:
            asked = {job: sendings(conn, job.asks.questions) for job in first if job.asks}
            answers = line_of(conn).ask_ahead([one for each in asked.values() for one in each])
        except Exception as error:
            if self._is_lost(error):
                raise
            raise _Stumble from error
        return {job: {one.key: answers[one.key] for one in each} for job, each in asked.items()}

    def _let_know(self, conn: Connection, job: Job, ahead: Ahead) -> None:
        """Give an action what was asked ahead for it, or ask it now: all at once."""
        if self._engines.is_sqlite:
            return
        line = line_of(conn)
        if job.asks is None:
            line.know({})
        elif job in ahead and not line.strayed:
            line.know(ahead[job])
        else:
            line.know(line.ask_all(sendings(conn, job.asks.questions)))

    def _perform(self, conn: Connection, record: RecordGroup, job: Job, ahead: Ahead) -> None:
        try:
            job.result = self._act(conn, record, job, ahead)
        except Exception as error:
            if self._is_lost(error):
                raise
            raise _Stumble from error

    def _perform_in_savepoint(
        self, conn: Connection, record: RecordGroup, job: Job, ahead: Ahead
    ) -> None:
        mark = self._engines.transaction_of(conn)
        mark("SAVEPOINT act")
        for may_try_again in (True, False):
            try:
                job.result = self._act(conn, record, job, ahead, settled=True)
                break
            except Exception as error:
                if self._is_lost(error):
                    raise
                mark("ROLLBACK TO SAVEPOINT act")
                if is_unreadable(error):
                    # Without the error, which holds the text.
                    log.error("unreadable text in meet %s", job.meet_id)  # noqa: TRY400
                    job.error = Unavailable(UNREADABLE)
                    break
                # Another process may have stored, between this action's look and its write, what
                # it collides with. It has committed now, so the action sees it and says so.
                if not (may_try_again and self._is_by_the_database(error)):
                    job.error = error
                    break
        mark("RELEASE SAVEPOINT act")

    def _is_lost(self, error: Exception) -> bool:
        """Whether the database itself gave up the whole transaction (connection, disk, memory)."""
        if isinstance(error, DBAPIError) and error.connection_invalidated:
            return True
        if is_unreadable(error):
            return False
        return isinstance(error, (MemoryError, OperationalError, self._engines.driver_failure))

    def _is_by_the_database(self, error: Exception) -> bool:
        return isinstance(error, (DBAPIError, self._engines.driver_error))

    def _act(
        self,
        conn: Connection,
        record: RecordGroup,
        job: Job,
        ahead: Ahead,
        *,
        settled: bool = False,
    ) -> Any:
        self._let_know(conn, job, ahead)
        unit = Unit(conn, self._clock.now(), job.meet_id, job.actor)
        done: Done[Any] = job.action(unit)
        if settled:
            # Before its entry: where that fails, the savepoint undoes rows, and the record would
            # already have grown by it.
            self._engines.settle(conn)
        if done.deed is not None:
            record.append(unit, done.deed)
        return done.result

    def _hand_out(self, group: list[Job]) -> None:
        by_receiver: dict[Deliver, list[Job]] = {}
        for job in group:
            by_receiver.setdefault(job.deliver, []).append(job)
        for deliver, jobs in by_receiver.items():
            try:
                deliver(jobs)
            except RuntimeError:  # the receiver's event loop has ended; the work is stored
                log.warning("%d outcomes had nobody left to receive them", len(jobs))
            except Exception:
                log.exception("%d outcomes could not be handed out", len(jobs))


def settle(receipt: Any, job: Job) -> None:
    """Put a job's outcome into a future, unless its holder has given up waiting."""
    if receipt.cancelled() or receipt.done():
        return
    if job.error is not None:
        receipt.set_exception(job.error)
    else:
        receipt.set_result(job.result)


def _commit(transaction: Transaction) -> None:
    """Where a commit fails, nobody can tell: a database that falls may have kept what it was asked
    to keep, and have had no time to say so.
    """
    try:
        transaction.commit()
    except Exception as error:
        raise _CommitFailed from error


def _why_not_kept(error: Exception) -> Unavailable:
    """What those are told whose group was not committed, as far as can be known."""
    cause = error.__cause__ if isinstance(error, _CommitFailed) else error
    why = cause_of(cause)
    if cause is error or why in NEVER_KEPT:
        told = f"The store could not keep this just now: {why}. Nothing was changed; send it again."
    else:
        told = (
            f"Whether the store has kept this is not known: {why}, at the last step. Send it "
            "again; it is kept once."
        )
    reason = Unavailable(told)
    reason.__cause__ = cause
    return reason

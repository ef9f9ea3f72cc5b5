"""The searches that this process runs: one after another, each a process of its own that is asked
nothing twice. A search is no act: how far it is, and what it finds, is kept beside the record until
the next search of its meet (`course.py`). What is taken over from it is an act like any other.
"""

from __future__ import annotations

import logging
import multiprocessing
import signal
import threading
from collections import deque
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from time import monotonic
from typing import TYPE_CHECKING, Final

from app.crew_search.child import Refused, search
from app.crew_search.course import Wanted, end, tell
from app.crew_search.kept import Search
from app.crew_search.task import Asked
from app.crew_search.telling import with_plan, with_progress
from app.crew_search.wire import Phase
from app.ids import MeetId, OfficialId
from app.planning import effort
from app.planning.effort import Progress
from app.refusals import Unavailable
from app.store.action import Action, Actor
from app.store.store import Store

if TYPE_CHECKING:
    from app.planning.advising import Advice

log = logging.getLogger(__name__)

_SPAWNED: Final = multiprocessing.get_context("spawn")
UNEXPECTED: Final = "The search ended without a word. Search again, or for fewer heats."
OVERRUN: Final = (
    "The search did not end in its time: for so many people and heats it needs more of it, or the "
    "machine has other work. Search again with more seconds, or for fewer heats."
)
SERVER_ENDED: Final = "The server was stopped while this search went on. Search again."
_PHASES: Final = {
    effort.Phase.PLANNING: Phase.SEARCHING,
    effort.Phase.MENDING: Phase.MENDING,
    effort.Phase.EXPLAINING: Phase.EXPLAINING,
}
GRACE_S: Final = 30.0
"""So much longer than it was given a search may take, on a machine that has other work to do."""
EVERY_S: Final = 1.0
"""So often is written how far it is, and looked whether another process was told to stop it."""
WAITING_S: Final = 4.0
"""So often one that waits for its turn gives a sign of life (`kept.SILENCE`)."""
TOLD_TO_END: Final = frozenset({-signal.SIGINT, -signal.SIGTERM})
"""Exit codes: whoever stops a server by its terminal or its unit tells all its processes."""
_SOON_S: Final = 5.0


class Turns:
    """One after another, in the order in which they asked."""

    def __init__(self) -> None:
        self._asked: deque[object] = deque()
        self._changed = threading.Condition()

    def ask(self, who: object) -> None:
        """Whoever asks leaves again, whether their turn came or not."""
        with self._changed:
            self._asked.append(who)

    def comes(self, who: object, within_s: float) -> bool:
        """Whether it is their turn by then."""
        with self._changed:
            return self._changed.wait_for(lambda: self._asked[0] is who, within_s)

    def leave(self, who: object) -> None:
        with self._changed:
            self._asked.remove(who)
            self._changed.notify_all()


class Running:
    """A search in this process: the thread that listens to its own process, and writes."""

    def __init__(
        self, store: Store, meet_id: MeetId, actor: Actor, begun: Search, asked: Asked
    ) -> None:
        self._store, self._meet_id, self._actor = store, meet_id, actor
        self._id, self._sent, self._asked = begun.id, begun.sent, asked
        self._so_far, self._phase = begun.so_far, Phase.WAITING
        self._pipe: Connection | None = None
        self._latest = monotonic()
        self._is_stopped = False
        self._changing = threading.Lock()
        self._closing = threading.Event()

    def run(self, turns: Turns) -> None:
        """Wait for the turn, search, and write what was found."""
        try:
            found = self._in_turn(turns)
        except Exception:  # whoever waits for the search is told, not the log alone
            log.exception("a search for a crew plan ended by an error")
            found = Refused(UNEXPECTED)
        if found is not None:
            self._end(found)

    def _in_turn(self, turns: Turns) -> Advice | Refused | None:
        """What was found; None where nobody waits for it."""
        try:
            while not turns.comes(self, WAITING_S):
                if self._tell() is Wanted.LEAVE:
                    return None
            self._phase = Phase.SEARCHING
            if self._closing.is_set() or self._tell() is Wanted.LEAVE:
                return None
            return self._search()
        finally:
            turns.leave(self)

    def stop(self) -> None:
        """End it with the best plan so far."""
        with self._changing:
            if self._is_stopped:
                return
            self._is_stopped = True
            self._latest = min(self._latest, monotonic() + GRACE_S)
            self._tell_child()

    def close(self) -> None:
        """End it without a plan: the server ends."""
        self._closing.set()
        with suppress(Unavailable):  # then its silence says so
            ending = self._ending(Refused(SERVER_ENDED))
            self._store.act_now(self._meet_id, self._actor, ending)
        self.stop()

    def _search(self) -> Advice | Refused:
        """What the process has found, or why that is nothing."""
        ours, theirs = _SPAWNED.Pipe()
        arguments = (theirs, self._asked.task, self._sent.seconds)
        process = _SPAWNED.Process(target=search, args=arguments, daemon=True)
        with self._changing:
            own_s = 0.0 if self._is_stopped else self._sent.seconds
            self._latest = monotonic() + own_s + GRACE_S
        try:
            with ours:
                with theirs:
                    process.start()
                self._take_up(ours)
                found = self._listen(ours)
                self._take_up(None)
        except OSError:  # there is no room for a process
            return Refused(UNEXPECTED)
        was_told_to_end = _see_off(process) in TOLD_TO_END
        return found or Refused(SERVER_ENDED if was_told_to_end else UNEXPECTED)

    def _take_up(self, pipe: Connection | None) -> None:
        with self._changing:
            self._pipe = pipe
            if self._is_stopped:
                self._tell_child()

    def _tell_child(self) -> None:
        if self._pipe is not None:
            with suppress(OSError):  # it has just ended by itself
                self._pipe.send(None)

    def _listen(self, pipe: Connection) -> Advice | Refused | None:
        """Until the process has found something; one that goes on for too long, or for which nobody
        waits any more, is not listened to.
        """
        write_at = monotonic() + EVERY_S
        while (now := monotonic()) < self._latest:
            if now >= write_at:
                write_at = now + EVERY_S
                match self._tell():
                    case Wanted.STOP:
                        self.stop()
                    case Wanted.LEAVE:
                        return None
            try:
                if not pipe.poll(max(0.0, write_at - now)):
                    continue
                said = pipe.recv()
            except (EOFError, OSError):
                return None
            if not isinstance(said, Progress):
                found: Advice | Refused = said
                return found
            self._so_far, self._phase = with_progress(self._so_far, said), _PHASES[said.phase]
        return Refused(OVERRUN)

    def _tell(self) -> Wanted:
        """Say how far it is. A store that cannot keep that just now ends no search."""
        with suppress(Unavailable):
            said = tell(self._id, self._phase, self._so_far)
            return self._store.act_now(self._meet_id, self._actor, said)
        return Wanted.GO_ON

    def _end(self, found: Advice | Refused) -> None:
        """Write what was found, and again until the store has kept it."""
        while not self._closing.is_set():
            with suppress(Unavailable):
                self._store.act_now(self._meet_id, self._actor, self._ending(found))
                return
            self._closing.wait(EVERY_S)

    def _ending(self, found: Advice | Refused) -> Action[None]:
        so_far, why = self._so_far, ""
        match found:
            case Refused(why):
                pass
            case advice:
                so_far = with_plan(so_far, self._asked, advice)
        people = {OfficialId(one.id): one.name for one in self._asked.task.people}
        return end(self._id, so_far, why, people)


def _see_off(process: SpawnProcess) -> int | None:
    """It ends by itself once it has said its last word. Gives its exit code."""
    process.join(_SOON_S)
    if process.is_alive():
        process.kill()
        process.join()
    code = process.exitcode
    with suppress(ValueError):  # the server's own end sees off its processes, too
        process.close()
    return code


class Searches:
    """All searches that this process runs. What it knows of them nobody else needs: they are told
    from the store, and stopped there too.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._running: dict[tuple[MeetId, str], Running] = {}
        self._turns = Turns()

    def run(self, meet_id: MeetId, actor: Actor, begun: Search, asked: Asked) -> None:
        """Run a search that has just begun, when those before it have ended."""
        running = Running(self._store, meet_id, actor, begun, asked)
        key = meet_id, begun.id
        self._running[key] = running
        self._turns.ask(running)
        threading.Thread(target=self._run, args=(key, running), daemon=True).start()

    def _run(self, key: tuple[MeetId, str], running: Running) -> None:
        try:
            running.run(self._turns)
        finally:
            del self._running[key]

    def hurry(self, meet_id: MeetId, search: str) -> None:
        """Have one that was stopped end at once, where this process runs it."""
        if running := self._running.get((meet_id, search)):
            running.stop()

    def close(self) -> None:
        """End all of them: the server ends."""
        for running in list(self._running.values()):
            running.close()

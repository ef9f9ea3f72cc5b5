"""The searches that go on: one of a meet, one after another on this service, each a process of its
own that is asked nothing twice. A search is no act: what it finds is kept until the next search of
its meet, and gone when the service ends. What is taken over from it is an act like any other.
"""

from __future__ import annotations

import multiprocessing
import threading
from dataclasses import dataclass, field
from math import inf
from multiprocessing.connection import Connection
from time import monotonic
from typing import TYPE_CHECKING, Final

from app.crew.wire import PostIn
from app.crew_search.child import Refused, search
from app.crew_search.found import posts_found
from app.crew_search.task import Asked
from app.crew_search.wire import Phase, SearchIn
from app.ids import MeetId
from app.planning import effort
from app.planning.effort import Progress
from app.refusals import IdTaken, StateConflict

if TYPE_CHECKING:
    from app.planning.advising import Advice

_SPAWNED: Final = multiprocessing.get_context("spawn")
UNEXPECTED: Final = (
    "The search ended without a word: it may have had too little memory. Search again, or for less "
    "time."
)
_PHASES: Final = {
    effort.Phase.PLANNING: Phase.SEARCHING,
    effort.Phase.MENDING: Phase.MENDING,
    effort.Phase.EXPLAINING: Phase.EXPLAINING,
}
NOT_BEGUN: Final = "The search was stopped before its turn came. Search again."
GRACE_S: Final = 30.0
"""So much longer than it was given a search may take, on a machine that has other work to do."""
LISTENING_S: Final = 1.0
ENDED: Final = frozenset({Phase.ENDED, Phase.FAILED})
_SOON_S: Final = 5.0


@dataclass(slots=True, eq=False)
class Search:
    """A search, as far as it is. The thread that listens to its process changes it."""

    id: str
    sent: SearchIn
    asked: Asked
    phase: Phase = Phase.WAITING
    progress: Progress | None = None
    advice: Advice | None = None
    posts: list[PostIn] = field(default_factory=list)
    problem: str = ""
    stopped: bool = False
    began: float = field(default_factory=monotonic)
    ended: float | None = None
    _pipe: Connection | None = None
    _latest: float = inf
    _changing: threading.Lock = field(default_factory=threading.Lock)

    @property
    def seconds(self) -> float:
        """So long it has been going on, or went on."""
        return (self.ended or monotonic()) - self.began

    @property
    def is_over(self) -> bool:
        return self.phase in ENDED

    def stop(self) -> None:
        """End it with the best plan so far; one that is over stays as it is."""
        with self._changing:
            if self.is_over or self.stopped:
                return
            self.stopped = True
            self._latest = min(self._latest, monotonic() + GRACE_S)
            if self._pipe is not None:
                self._tell_child()
            else:  # its turn has not come, and does not come any more
                self.problem, self.phase = NOT_BEGUN, Phase.FAILED
                self.ended = monotonic()

    def run(self) -> None:
        """Search, and listen until the process ends."""
        if self.is_over:
            return
        ours, theirs = _SPAWNED.Pipe()
        arguments = (theirs, self.asked.task, self.sent.seconds)
        process = _SPAWNED.Process(target=search, args=arguments, daemon=True)
        with ours:
            try:
                process.start()
                theirs.close()
                if self._begin(ours):
                    self._listen(ours)
            finally:
                self._end()
        process.join(_SOON_S)
        if process.is_alive():
            process.kill()
            process.join()
        process.close()

    def _begin(self, pipe: Connection) -> bool:
        """Whether anybody still wants it."""
        with self._changing:
            if self.is_over:
                return False
            self.phase, self.began, self._pipe = Phase.SEARCHING, monotonic(), pipe
            self._latest = self.began + self.sent.seconds + GRACE_S
            return True

    def _tell_child(self) -> None:
        try:
            if self._pipe is not None:
                self._pipe.send(None)
        except OSError:  # it has just ended by itself
            pass

    def _listen(self, pipe: Connection) -> None:
        """Until the process ends; one that goes on for too long is not listened to any more."""
        while monotonic() < self._latest:
            try:
                if not pipe.poll(LISTENING_S):
                    continue
                said = pipe.recv()
            except (EOFError, OSError):
                return
            match said:
                case Progress():
                    self.progress, self.phase = said, _PHASES[said.phase]
                case Refused():
                    self.problem = said.why
                case advice:
                    self.posts = posts_found(self.asked, advice.plan)
                    self.advice = advice

    def _end(self) -> None:
        with self._changing:
            self._pipe = None
            if self.is_over:
                return
            self.ended = monotonic()
            if self.advice is None and not self.problem:
                self.problem = UNEXPECTED
            self.phase = Phase.FAILED if self.advice is None else Phase.ENDED


class Searches:
    """All searches of this service, the last of each meet."""

    def __init__(self) -> None:
        self._last: dict[MeetId, Search] = {}
        self._ids: set[str] = set()
        self._turn = threading.Lock()
        self._is_closed = False

    def of(self, meet_id: MeetId) -> Search | None:
        """The last search of a meet."""
        return self._last.get(meet_id)

    def begin(self, meet_id: MeetId, search: str, sent: SearchIn, asked: Asked) -> Search:
        """Begin one, when those before it have ended; StateConflict while the meet has another.

        A search that was begun before under the same id is answered as it is; under other terms, or
        after a later one, its id is taken.
        """
        known = self.of(meet_id)
        if known is not None and known.id == search and known.sent == sent:
            return known
        if search in self._ids:
            raise IdTaken("another search", search)
        if known is not None and not known.is_over:
            raise StateConflict(
                "A plan is being searched for at this meet already. Stop that search, or wait for "
                "its end."
            )
        self._ids.add(search)
        begun = self._last[meet_id] = Search(search, sent, asked)
        threading.Thread(target=self._run, args=(begun,), daemon=True).start()
        return begun

    def _run(self, begun: Search) -> None:
        with self._turn:
            if not self._is_closed:
                begun.run()

    def close(self) -> None:
        """Stop all of them: the service ends."""
        self._is_closed = True
        for one in self._last.values():
            one.stop()

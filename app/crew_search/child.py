"""The search for a plan, as a process of its own: the solver takes all of a processor, and reports
from the track come first.

It tells how far it is, and at the end the plan, who is missing and what was given up. It ends with
the best plan so far when it is told to stop, and when nobody listens any more.
"""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection

from app.planning.effort import Effort, NoPlan, Progress
from app.planning.facts import Task

MEMORY = 4 * 1024**3
MEMORY_SPENT = (
    "For so many people and heats the search has too little memory. Search again for fewer heats."
)


@dataclass(frozen=True, slots=True)
class Refused:
    """Why there is no plan, in words."""

    why: str


def search(pipe: Connection, task: Task, limit_s: float) -> None:
    """Search, and send what is found through the pipe."""
    # Not at the top: whoever starts such a process needs no solver of its own.
    from app.planning.advising import advise  # noqa: PLC0415

    signal.signal(signal.SIGINT, signal.SIG_DFL)  # it ends without a traceback
    os.nice(10)  # reports come first
    _bound_memory()

    def tell(progress: Progress) -> None:
        with suppress(OSError):  # nobody listens any more: `_Stop` says so to the solver
            pipe.send(progress)

    effort = Effort(limit_s=limit_s, tell=tell, should_stop=_Stop(pipe))
    with suppress(OSError):
        try:
            pipe.send(advise(task, effort))
        except (NoPlan, ValueError) as none:
            pipe.send(Refused(str(none)))
        except MemoryError:
            pipe.send(Refused(MEMORY_SPENT))


def _bound_memory() -> None:
    import resource  # noqa: PLC0415 - not everywhere, and only here

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = MEMORY if hard == resource.RLIM_INFINITY else min(MEMORY, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))


class _Stop:
    """Whether something came through the pipe, be it its end."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._is_set = False

    def __call__(self) -> bool:
        try:
            self._is_set = self._is_set or self._pipe.poll()
        except OSError:
            self._is_set = True
        return self._is_set

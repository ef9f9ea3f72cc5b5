"""The search for a plan, as a process of its own: the solver takes all of a processor, and reports
from the track come first.

It tells how far it is, and at the end the plan, who is missing and what was given up. It ends with
the best plan so far when it is told to stop, and when nobody listens any more.
"""

from __future__ import annotations

import os
import resource
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection

from app.planning.effort import Effort, NoPlan
from app.planning.facts import Task

MEMORY = 4 * 1024**3


@dataclass(frozen=True, slots=True)
class Refused:
    """Why there is no plan, in words."""

    why: str


def search(pipe: Connection, task: Task, limit_s: float) -> None:
    """Search, and send what is found through the pipe."""
    # Not at the top: whoever starts such a process needs no solver of its own.
    from app.planning.advising import advise  # noqa: PLC0415

    os.nice(10)  # reports come first
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    effort = Effort(limit_s=limit_s, tell=pipe.send, should_stop=_Stop(pipe))
    with suppress(BrokenPipeError, ConnectionResetError):
        try:
            pipe.send(advise(task, effort))
        except (NoPlan, ValueError) as none:
            pipe.send(Refused(str(none)))


class _Stop:
    """Whether something came through the pipe, be it its end."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._is_set = False

    def __call__(self) -> bool:
        self._is_set = self._is_set or self._pipe.poll()
        return self._is_set

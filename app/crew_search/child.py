"""The search for a plan, as a process of its own: the solver takes all of a processor, and reports
from the track come first.

It tells how far it is, then the plan, then what was given up and who is missing. It ends with the
best plan so far when it is told to stop, and when nobody listens any more.
"""

from __future__ import annotations

import os
import resource
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection

from app.planning.effort import Effort, NoPlan
from app.planning.explaining import given_up
from app.planning.facts import Task
from app.planning.making import plan_crew
from app.planning.mending import people_more
from app.planning.results import CrewPlan, GivenUp, Missing

MEMORY = 4 * 1024**3
EXPLAINING_S = 10.0


@dataclass(frozen=True, slots=True)
class Explained:
    """What was given up, and how few people more would mend a plan that watches not everything."""

    given_up: tuple[GivenUp, ...]
    missing: Missing | None


@dataclass(frozen=True, slots=True)
class Refused:
    """Why there is no plan, in words."""

    why: str


def search(pipe: Connection, task: Task, limit_s: float) -> None:
    """Search, and send what is found through the pipe."""
    os.nice(10)  # reports come first
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    stop = _Stop(pipe)
    effort = Effort(limit_s=limit_s, tell=pipe.send, should_stop=stop)
    with suppress(BrokenPipeError, ConnectionResetError):
        try:
            made = plan_crew(task, effort)
        except (NoPlan, ValueError) as none:
            pipe.send(Refused(str(none)))
            return
        pipe.send(made)
        if not made.stopped:
            pipe.send(_explained(task, made, replace(effort, limit_s=EXPLAINING_S, tell=_nobody)))


def _nobody(_: object) -> None:
    """How far an explanation is is nobody's question."""


def _explained(task: Task, made: CrewPlan, effort: Effort) -> Explained:
    missing = people_more(task, effort) if made.unwatched else None
    return Explained(tuple(given_up(task, made, effort)), missing)


class _Stop:
    """Whether something came through the pipe, be it its end."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._is_set = False

    def __call__(self) -> bool:
        self._is_set = self._is_set or self._pipe.poll()
        return self._is_set

"""A search as it is kept: whoever shares the database knows it, in whatever process it runs.

What it says is what the process wrote in which it runs. One that has not written for a while is
gone, by whatever it was ended, and the search with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from pydantic import Field

from app.crew_search.wire import CountOut, Phase, PlanFoundOut, SearchIn
from app.ids import HeatId
from app.planning.wishes import Wish
from app.store.rows import AnyRow
from app.wire import Wire

SILENCE: Final = timedelta(seconds=15)
"""So long after its last word a process is taken to be gone: it writes every second or every few,
and the clocks of machines that share a database differ by less.
"""
OVER: Final = frozenset({Phase.ENDED, Phase.FAILED})
PROCESS_GONE: Final = (
    "The server process in which this search ran has ended, or could not write for a while. Search "
    "again."
)
NEVER_BEGAN: Final = "No server process has taken this search up. Search again."


class SoFar(Wire):
    """How far a search is, and at the end its plan: people by their ids alone, without a name.

    `version` is that of the crew plan which the search has seen.
    """

    version: int
    untimed: list[HeatId]
    undrawn: list[HeatId] = Field(default_factory=list)
    counts: list[CountOut] = Field(default_factory=list)
    working_on: Wish | None = None
    plan: PlanFoundOut | None = None


@dataclass(frozen=True, slots=True)
class Search:
    """A search as it was at one instant."""

    id: str
    sent: SearchIn
    phase: Phase
    stopped: bool
    seconds: float
    """So long it has been going on, or went on; of one whose process is gone, until its last word.
    """
    problem: str
    so_far: SoFar

    @property
    def is_over(self) -> bool:
        return self.phase in OVER

    @property
    def never_began(self) -> bool:
        """Whether the process is gone that was to run it, before it did: it can be begun again."""
        return self.problem == NEVER_BEGAN


def is_silent(heard: datetime, now: datetime) -> bool:
    """Whether a process that has not ended its search said its last word too long ago."""
    return abs(now - heard) > SILENCE


def kept(row: AnyRow, now: datetime) -> Search:
    """What a row says at an instant. By a clock that was set back, too, a word can be old."""
    phase, problem, until = Phase(row.phase), row.problem, row.ended or now
    if row.ended is None and is_silent(row.heard, now):
        problem = NEVER_BEGAN if phase is Phase.WAITING else PROCESS_GONE
        phase, until = Phase.FAILED, row.heard
    return Search(
        id=row.id,
        sent=SearchIn(**row.sent),
        phase=phase,
        stopped=row.stopped,
        seconds=max(0.0, (until - row.began).total_seconds()),
        problem=problem,
        so_far=SoFar(**row.content),
    )

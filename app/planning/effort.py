"""What a search is given to work with, what it tells meanwhile, and what it ends with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from app.planning.limits import USUAL_S
from app.planning.model import Placed
from app.planning.results import Counted
from app.planning.wishes import Wish


class Phase(StrEnum):
    """What is being done, one after the other."""

    PLANNING = "planning"
    MENDING = "looking for how few people more would mend it"
    EXPLAINING = "looking for what keeping the wishes that were given up would cost"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is: all counts of the best plan so far, and the wish at work with what no
    plan can go below in it. Without one the plan is still put together.
    """

    seconds: float
    counts: Mapping[Wish, int]
    wish: Wish | None = None
    bound: int = 0
    phase: Phase = Phase.PLANNING

    @property
    def gap(self) -> int:
        """By how much the wish at work could still become better."""
        return self.counts[self.wish] - self.bound if self.wish else 0


Tell = Callable[[Progress], None]
ShouldStop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search, from which seed, whom to tell, and whom to ask whether to stop."""

    limit_s: float = USUAL_S
    seed: int = 1
    tell: Tell = lambda _: None
    should_stop: ShouldStop = lambda: False


@dataclass(frozen=True, slots=True)
class Best:
    """The best plan found, wish by wish; the first that is not proven ends the proof."""

    placed: Placed
    counted: tuple[Counted, ...]
    seconds: float
    stopped: bool


class NoPlan(Exception):
    """No plan satisfies what is firm, or none was found in time."""

    def __init__(self, *, is_proven: bool, why: str = "") -> None:
        super().__init__(
            why or "No plan satisfies all that is pinned and firm: take the plan before back."
            if is_proven
            else "No plan was found in the time that it had."
        )
        self.is_proven = is_proven

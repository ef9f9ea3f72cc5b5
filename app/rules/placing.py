"""Which place does each team of a heat take, and do the judges' order and the times agree?

Times are whole thousandths of a second. Teams behind a disqualified one move up: Rio 2016 men's
4x100 m final, third across the line disqualified, fourth placed third (press accounts). A tie for
a place stays a tie unless the photo finish parts it (IAAF Rule 167.1, 2010-11). Left to others:
who qualifies for the next round, and points.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class FinishStatus(StrEnum):
    """How a team's race ended, as the finish judges saw it."""

    FINISHED = "finished"
    DID_NOT_START = "DNS"
    DID_NOT_FINISH = "DNF"


@dataclass(frozen=True, slots=True)
class Finish:
    """What the finish recorded for one lane.

    `decided_place` is the order that finish judges or the photo finish gave where times tie.
    A finished team without a time (a watch failed) needs a decided place.
    """

    lane: int
    status: FinishStatus
    thousandths: int | None = None
    decided_place: int | None = None

    def __post_init__(self) -> None:
        if self.lane < 1:
            raise ValueError(f"Lane {self.lane} does not exist: lanes count from 1.")
        if self.thousandths is not None and self.thousandths <= 0:
            raise ValueError(f"Lane {self.lane}: a time must be more than nothing.")
        if self.decided_place is not None and self.decided_place < 1:
            raise ValueError(f"Lane {self.lane}: places count from 1.")
        self._agree_with_status()

    def _agree_with_status(self) -> None:
        known = self.thousandths is not None or self.decided_place is not None
        if self.status is FinishStatus.FINISHED and not known:
            raise ValueError(
                f"Lane {self.lane} finished but has neither a time nor a place: give one of them."
            )
        if self.status is not FinishStatus.FINISHED and known:
            raise ValueError(
                f"Lane {self.lane} is {self.status}, so it takes neither a time nor a place."
            )


@dataclass(frozen=True, slots=True)
class Placed:
    """The place of one lane in its heat; None for a team that takes none."""

    lane: int
    place: int | None


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A team placed ahead of another by decision although its time is slower."""

    lane: int
    ahead_of_lane: int


def place_heat(
    finishes: Iterable[Finish], disqualified: frozenset[int] = frozenset()
) -> tuple[Placed, ...]:
    """Give every lane its place, in lane order; ties share one (1, 2, 2, 4).

    Lanes disqualified, not started or not finished take none, and those behind move up. Times
    rank; judges' places part equal times where every team of the tie has one, and rank the whole
    heat where a finished team has no time. Otherwise a missing time is refused with ValueError.
    """
    entered = _each_lane_once(finishes)
    ranked = [finish for finish in entered if _takes_a_place(finish, disqualified)]
    ranks = {finish.lane: _rank(finish, ranked) for finish in ranked}
    order = sorted(ranks.values())
    return tuple(
        Placed(finish.lane, order.index(ranks[finish.lane]) + 1 if finish.lane in ranks else None)
        for finish in entered
    )


def order_contradicts_times(finishes: Iterable[Finish]) -> list[Contradiction]:
    """List where a decided place puts a slower time ahead of a faster one.

    Equal times contradict nothing: parting them is what a decided place is for.
    """
    entered = _each_lane_once(finishes)
    return [
        Contradiction(one.lane, other.lane)
        for one in entered
        for other in entered
        if _decided_ahead(one, other) and _slower(one, other)
    ]


def _each_lane_once(finishes: Iterable[Finish]) -> tuple[Finish, ...]:
    entered = tuple(sorted(finishes, key=lambda finish: finish.lane))
    twice = [
        lane for lane, times in Counter(finish.lane for finish in entered).items() if times > 1
    ]
    if twice:
        raise ValueError(f"Lane {twice[0]} stands twice in this heat: keep one of them.")
    return entered


def _takes_a_place(finish: Finish, disqualified: frozenset[int]) -> bool:
    return finish.status is FinishStatus.FINISHED and finish.lane not in disqualified


def _rank(finish: Finish, ranked: list[Finish]) -> tuple[int, int]:
    """What a team is sorted by; equal ranks share a place."""
    untimed = [other.lane for other in ranked if other.thousandths is None]
    if untimed and finish.decided_place is None:
        raise ValueError(
            f"Lane {untimed[0]} finished without a time, so the judges' places rank this heat, "
            f"and lane {finish.lane} has none: give the missing time or every team's place."
        )
    if untimed or finish.thousandths is None:
        return finish.decided_place or 0, 0
    tied = [other for other in ranked if other.thousandths == finish.thousandths]
    parted = all(other.decided_place is not None for other in tied)
    return finish.thousandths, (finish.decided_place or 0) if parted else 0


def _slower(one: Finish, other: Finish) -> bool:
    if one.thousandths is None or other.thousandths is None:
        return False
    return one.thousandths > other.thousandths


def _decided_ahead(one: Finish, other: Finish) -> bool:
    if one.decided_place is None or other.decided_place is None:
        return False
    return one.decided_place < other.decided_place

"""Which place does each team of a heat take, and do the judges' order and the times agree?

Times are thousandths of a second, given to 0.01 s or to 0.001 s. Between teams whose times were
given unlike, a comparison goes by 0.01 s: a photo-finish time not ending in zero is rounded up to
the next longer hundredth (World Athletics TR19, from memory). What times so compared leave open,
the places of the finish judges or the photo finish decide. A tie for a place stays a tie unless
the photo finish parts it (IAAF Rule 167.1, 2010-11).

Teams behind a disqualified one move up: Rio 2016 men's 4x100 m final, third across the line
disqualified, fourth placed third (press accounts). Left to others: who qualifies for the next
round (`qualifying.py`), and points (`points.py`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

HUNDREDTHS: Final = 2
THOUSANDTHS: Final = 3


class FinishStatus(StrEnum):
    """How a team's race ended, as the finish judges saw it."""

    FINISHED = "finished"
    DID_NOT_START = "DNS"
    DID_NOT_FINISH = "DNF"


@dataclass(frozen=True, slots=True)
class Finish:
    """What the finish recorded for one lane.

    `decided_place` is the order that finish judges or the photo finish gave where times tie.
    A finished team without a time (a watch failed) needs a decided place. `decimals` says whether
    the time was given in hundredths (2) or thousandths (3).
    """

    lane: int
    status: FinishStatus
    thousandths: int | None = None
    decided_place: int | None = None
    decimals: int = THOUSANDTHS

    def __post_init__(self) -> None:
        if self.lane < 1:
            raise ValueError(f"Lane {self.lane} does not exist: lanes count from 1.")
        if self.thousandths is not None and self.thousandths <= 0:
            raise ValueError(f"Lane {self.lane}: a time must be more than nothing.")
        if self.decided_place is not None and self.decided_place < 1:
            raise ValueError(f"Lane {self.lane}: places count from 1.")
        if self.decimals not in {HUNDREDTHS, THOUSANDTHS}:
            raise ValueError(f"Lane {self.lane}: a time is given to 2 or 3 decimals.")
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
    """A team placed ahead of another by decision, or level with it, although its time is slower."""

    lane: int
    ahead_of_lane: int


@dataclass(frozen=True, slots=True)
class OpenTie:
    """Lanes that neither their times nor their decided places put in order.

    Either only some of them have a place (`places_missing`), or only some a time to 0.001 s.
    """

    lanes: tuple[int, ...]
    places_missing: bool


def place_heat(
    finishes: Iterable[Finish], disqualified: frozenset[int] = frozenset()
) -> tuple[Placed, ...]:
    """Give every lane its place, in lane order; ties share one (1, 2, 2, 4).

    Lanes disqualified, not started or not finished take none, and those behind move up. Times
    rank; decided places part teams that tie where every one of them has a place, and rank the
    whole heat where a finished team has no time. Otherwise a missing time is refused with
    ValueError.
    """
    entered = _each_lane_once(finishes)
    ranked = [finish for finish in entered if _takes_a_place(finish, disqualified)]
    ranks = dict(zip([finish.lane for finish in ranked], _ranks(ranked), strict=True))
    places: dict[tuple[int, ...], int] = {}
    for place, rank in enumerate(sorted(ranks.values()), start=1):
        places.setdefault(rank, place)
    return tuple(
        Placed(finish.lane, places[ranks[finish.lane]] if finish.lane in ranks else None)
        for finish in entered
    )


def time_ranks(timed: Sequence[Finish]) -> list[tuple[int, int]]:
    """What each of these finishes ranks by, in their order: the smaller is the faster, equal ranks
    tie. All must have a time; they may come from several heats.

    Hundredths first; thousandths within a hundredth where all that share it have them.
    """
    keys = [hundredths(finish.thousandths or 0) for finish in timed]
    rough = {key for key, finish in zip(keys, timed, strict=True) if finish.decimals != THOUSANDTHS}
    return [
        (key, 0 if key in rough else finish.thousandths or 0)
        for key, finish in zip(keys, timed, strict=True)
    ]


def hundredths(thousandths: int) -> int:
    """A time in hundredths of a second, rounded up."""
    return -(-thousandths // 10)


def order_contradicts_times(finishes: Iterable[Finish]) -> list[Contradiction]:
    """List where decided places put a slower time ahead of a faster one, or level with it.

    Times that tie contradict nothing: parting them is what a decided place is for.
    """
    entered = _each_lane_once(finishes)
    return [
        Contradiction(one.lane, other.lane)
        for one in entered
        for other in entered
        if _decided_ahead_or_level(one, other) and is_slower(one, other)
    ]


def open_ties(finishes: Iterable[Finish]) -> list[OpenTie]:
    """List the ties that look as if more were known than was given: some lanes of a tie have a
    place or thousandths, and the others have not (common practice).
    """
    timed = [finish for finish in _each_lane_once(finishes) if finish.thousandths is not None]
    ties = dict.fromkeys(tuple(_tied(finish, timed)) for finish in timed)
    return [
        OpenTie(tuple(finish.lane for finish in tie), places_missing=_some_placed(tie))
        for tie in ties
        if not _all_placed(tie) and (_some_placed(tie) or len({one.decimals for one in tie}) > 1)
    ]


def _each_lane_once(finishes: Iterable[Finish]) -> tuple[Finish, ...]:
    entered = tuple(sorted(finishes, key=lambda finish: finish.lane))
    for one, other in pairwise(entered):
        if one.lane == other.lane:
            raise ValueError(f"Lane {one.lane} stands twice in this heat: keep one of them.")
    return entered


def _takes_a_place(finish: Finish, disqualified: frozenset[int]) -> bool:
    return finish.status is FinishStatus.FINISHED and finish.lane not in disqualified


def _ranks(ranked: Sequence[Finish]) -> list[tuple[int, ...]]:
    """What the teams that take a place are sorted by; equal ranks share one."""
    if any(finish.thousandths is None for finish in ranked):
        return [(_place_given(finish, ranked),) for finish in ranked]
    ranks = time_ranks(ranked)
    undecided = {
        rank for rank, finish in zip(ranks, ranked, strict=True) if finish.decided_place is None
    }
    return [
        (*rank, 0 if rank in undecided else finish.decided_place or 0)
        for rank, finish in zip(ranks, ranked, strict=True)
    ]


def _place_given(finish: Finish, ranked: Iterable[Finish]) -> int:
    """The judges' place of a team in a heat where a time is missing."""
    if finish.decided_place is not None:
        return finish.decided_place
    untimed = next(other.lane for other in ranked if other.thousandths is None)
    raise ValueError(
        f"Lane {untimed} finished without a time, so the judges' places rank this heat, "
        f"and lane {finish.lane} has none: give the missing time or every team's place."
    )


def _tied(finish: Finish, among: Iterable[Finish]) -> list[Finish]:
    """Those whose times do not part them from this team, itself included.

    Those with one time to 0.01 s, unless all of them have thousandths to go by.
    """
    own = hundredths(finish.thousandths or 0)
    level = [other for other in among if hundredths(other.thousandths or 0) == own]
    if _all_fine(level):
        return [other for other in level if other.thousandths == finish.thousandths]
    return level


def is_slower(one: Finish, other: Finish) -> bool:
    """Whether the times part these two, and the second is the faster."""
    if one.thousandths is None or other.thousandths is None:
        return False
    if _all_fine((one, other)):
        return one.thousandths > other.thousandths
    return hundredths(one.thousandths) > hundredths(other.thousandths)


def _all_fine(finishes: Iterable[Finish]) -> bool:
    return all(finish.decimals == THOUSANDTHS for finish in finishes)


def _all_placed(tie: Iterable[Finish]) -> bool:
    return all(finish.decided_place is not None for finish in tie)


def _some_placed(tie: Iterable[Finish]) -> bool:
    return any(finish.decided_place is not None for finish in tie)


def _decided_ahead_or_level(one: Finish, other: Finish) -> bool:
    if one.decided_place is None or other.decided_place is None:
        return False
    return one.decided_place <= other.decided_place

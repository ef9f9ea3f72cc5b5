"""What must hold within and between the rows of a finish list.

Answers whether a row contradicts itself (a time for a team that did not start) or another row (a
lane twice, a place ahead of a faster team). Equal times without places are a tie and fine: a tie
stays unless the photo finish parts it (IAAF Rule 167.1, 2010-11). The rest is common practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from app.rules.placing import FinishStatus
from app.sheets.problems import ProblemList


@dataclass(frozen=True, slots=True)
class FinishRow:
    """One lane's finish. `decimals` says whether the time was given in hundredths (2) or
    thousandths (3); `place` is the judges' order, where the file gives one.
    """

    row: int
    lane: int
    status: FinishStatus
    thousandths: int | None
    decimals: int
    place: int | None


def check_own_sense(row: FinishRow, problems: ProblemList) -> None:
    """A team that finished has a time or a place; one that did not has neither."""
    has_result = row.thousandths is not None or row.place is not None
    if row.status is FinishStatus.FINISHED and not has_result:
        problems.add(
            row.row,
            "time",
            f"Lane {row.lane} has neither a time nor a place. Give its time, or write DNS or DNF.",
        )
    if row.status is not FinishStatus.FINISHED and has_result:
        column = "place" if row.thousandths is None else "time"
        problems.add(
            row.row,
            column,
            f"Lane {row.lane} is {row.status} and still has a {column}. Keep the one that is "
            "right.",
        )


def check_together(rows: Sequence[FinishRow], problems: ProblemList) -> None:
    """Compare the rows with each other."""
    _check_lanes(rows, problems)
    finished = [row for row in rows if row.status is FinishStatus.FINISHED]
    _check_comparable(finished, problems)
    _check_places(finished, problems)


def _check_lanes(rows: Sequence[FinishRow], problems: ProblemList) -> None:
    seen: dict[int, int] = {}
    for row in rows:
        before = seen.setdefault(row.lane, row.row)
        if before != row.row:
            problems.add(
                row.row,
                "lane",
                f"Lane {row.lane} is already in row {before}. Delete one of the two, or correct "
                "its lane. A list holds one heat.",
            )


def _check_comparable(finished: Sequence[FinishRow], problems: ProblemList) -> None:
    """A team without a time can only be placed among others that have places."""
    untimed = next((row for row in finished if row.thousandths is None), None)
    if untimed is None:
        return
    for row in finished:
        if row.place is None:
            problems.add(
                row.row,
                "place",
                f"Lane {row.lane} has no place, but lane {untimed.lane} in row {untimed.row} has "
                "no time: the two cannot be compared. Give every team its place.",
            )


def _check_places(finished: Sequence[FinishRow], problems: ProblemList) -> None:
    """Places follow the times. With equal times either order may stand: the picture decides."""
    both = [row for row in finished if row.place is not None and row.thousandths is not None]
    ordered = sorted(both, key=lambda row: (row.place or 0, row.thousandths or 0))
    for ahead, behind in pairwise(ordered):
        faster, slower = _compare(ahead, behind)
        if faster > slower or (ahead.place == behind.place and faster != slower):
            problems.add(
                behind.row,
                "place",
                f"Lane {behind.lane} has place {behind.place} and lane {ahead.lane} in row "
                f"{ahead.row} has place {ahead.place}, but their times say otherwise. Correct "
                "the times or the places.",
            )


def _compare(one: FinishRow, other: FinishRow) -> tuple[int, int]:
    """Both times at the coarser precision; a photo-finish time is rounded up to 0.01 s (World
    Athletics TR19, from memory).
    """
    step = 10 ** (3 - min(one.decimals, other.decimals))
    return -(-(one.thousandths or 0) // step), -(-(other.thousandths or 0) // step)

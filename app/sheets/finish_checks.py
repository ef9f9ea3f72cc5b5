"""What must hold within and between the rows of a finish list.

Answers whether a row contradicts itself (a time for a team that did not start) or another row (a
lane twice, a place ahead of a faster team). How times and places compare is left to
`app.rules.placing`, which also ranks the heat. Equal times without places are a tie and fine: a
tie stays unless the photo finish parts it (IAAF Rule 167.1, 2010-11). The rest is common practice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from app.rules.placing import (
    THOUSANDTHS,
    Contradiction,
    Finish,
    FinishStatus,
    OpenTie,
    open_ties,
    order_contradicts_times,
)
from app.sheets.problems import ProblemList


@dataclass(frozen=True, slots=True)
class FinishRow:
    """One lane's finish. `decimals` says whether the time was given in hundredths (2) or
    thousandths (3); `place` is the judges' order, where the file gives one; `about` holds what the
    row says of its event, round, heat and team.
    """

    row: int
    lane: int
    status: FinishStatus
    thousandths: int | None
    decimals: int
    place: int | None
    about: Mapping[str, str] = field(default_factory=dict)

    def as_finish(self) -> Finish:
        """The same for the rules."""
        return Finish(self.lane, self.status, self.thousandths, self.place, self.decimals)


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
    _check_times_and_places(finished, problems)


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


def _check_times_and_places(finished: Sequence[FinishRow], problems: ProblemList) -> None:
    """Places follow the times, and part a tie of times only as a whole."""
    by_lane: dict[int, FinishRow] = {}
    for row in finished:
        by_lane.setdefault(row.lane, row)
    finishes = [row.as_finish() for row in by_lane.values()]
    _tell_contradictions(order_contradicts_times(finishes), by_lane, problems)
    if all(finish.thousandths is not None for finish in finishes):
        _tell_open_ties(open_ties(finishes), by_lane, problems)


def _tell_contradictions(
    found: Sequence[Contradiction], by_lane: Mapping[int, FinishRow], problems: ProblemList
) -> None:
    """Each row once, with the first of the rows above it that it contradicts."""
    told: dict[int, tuple[FinishRow, FinishRow]] = {}
    for one in found:
        pair = by_lane[one.lane], by_lane[one.ahead_of_lane]
        above, below = sorted(pair, key=lambda row: row.row)
        if below.row not in told or above.row < told[below.row][1].row:
            told[below.row] = below, above
    for below, above in told.values():
        problems.add(
            below.row,
            "place",
            f"Lane {below.lane} has place {below.place} and lane {above.lane} in row {above.row} "
            f"has place {above.place}, but their times say otherwise. Correct the times or the "
            "places.",
        )


def _tell_open_ties(
    found: Sequence[OpenTie], by_lane: Mapping[int, FinishRow], problems: ProblemList
) -> None:
    for tie in found:
        rows = sorted((by_lane[lane] for lane in tie.lanes), key=lambda row: row.row)
        if tie.places_missing:
            _tell_half_placed(rows, problems)
        else:
            _tell_half_timed(rows, problems)


def _tell_half_placed(rows: Sequence[FinishRow], problems: ProblemList) -> None:
    placed = next(row for row in rows if row.place is not None)
    for row in rows:
        if row.place is None:
            problems.add(
                row.row,
                "place",
                f"Lane {row.lane} has no place, but lane {placed.lane} in row {placed.row} has the "
                "same time and a place. Give every team with this time its place, or none of them.",
            )


def _tell_half_timed(rows: Sequence[FinishRow], problems: ProblemList) -> None:
    fine = next(row for row in rows if row.decimals == THOUSANDTHS)
    for row in rows:
        if row.decimals < THOUSANDTHS:
            problems.add(
                row.row,
                "time",
                f"Lane {row.lane} and lane {fine.lane} in row {fine.row} have the same time to "
                "0.01 s, and only one of them is given to 0.001 s. Give both to 0.001 s (42.340, "
                "not 42.34), or give every team with this time its place.",
            )

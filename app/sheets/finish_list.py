"""Reading the finish list of one heat: lanes with times, statuses and places.

Answers what the finish judges or the photo finish sent, and what is wrong with it; who is placed
how is left to `app.rules.placing`. DNS and DNF are the notations of World Athletics CR25.4. DQ is
refused: a disqualification comes from a ruling, and the team's time is wanted all the same, as
the disqualification may be set aside.
"""

from __future__ import annotations

from collections.abc import Mapping

from app.rules.placing import FinishStatus
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import LANES, PLACES, read_whole_number
from app.sheets.finish_checks import FinishRow, check_own_sense, check_together
from app.sheets.problems import Problem, ProblemList, SheetRefused, show
from app.sheets.race_time import NotATime, parse_time
from app.sheets.table import Row, fill_table

__all__ = ["FinishRow", "NotATime", "Problem", "SheetRefused", "parse_time", "read_finish_list"]

REQUIRED = ("lane",)
OPTIONAL = ("time", "status", "place")
# Where a list says what it is about, whoever loads it can tell that it is the wrong one.
ABOUT = ("event", "round", "heat", "team")
_STATUSES = {status.casefold(): status for status in FinishStatus}
_DISQUALIFIED = ("dq", "dsq", "disq")
# What people put where there is nothing to put.
_DASHES = ("-", "--", "\u2013", "\u2014")
# Spreadsheets drop a last zero: 42.3 in a list is 42.30.
_FEWEST_DECIMALS = 2


def read_finish_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[FinishRow, ...], tuple[Problem, ...]]:
    """The rows and their problems; take them over only when there are none.

    `mapping` leads from a header in the file to one of our columns. Raises SheetRefused when the
    file is no table.
    """
    problems = ProblemList()
    columns = Columns((*REQUIRED, *OPTIONAL, *ABOUT), REQUIRED, ("time",), mapping, OPTIONAL)
    table = fill_table(content, columns, problems)
    read = [_read_row(row, problems) for row in table.rows]
    rows = tuple(row for row in read if row is not None)
    if not table.rows and not problems:
        problems.add(None, None, "This list names no lane. Add a row for each team of the heat.")
    check_together(rows, problems)
    return rows, problems.told()


def _read_row(row: Row, problems: ProblemList) -> FinishRow | None:
    """The row, or None when it has a problem of its own."""
    before = len(problems)
    lane = read_whole_number(row, "lane", LANES, problems)
    status = _read_status(row, problems)
    thousandths, decimals = _read_time(row, problems)
    place = read_whole_number(row, "place", PLACES, problems) if _text(row, "place") else None
    is_whole = all(name in row.cells for name in (*REQUIRED, *OPTIONAL))
    if lane is None or status is None or not is_whole or len(problems) > before:
        return None
    about = {name: row.cells[name] for name in ABOUT if row.cells.get(name)}
    found = FinishRow(row.number, lane, status, thousandths, decimals, place, about)
    check_own_sense(found, problems)
    return found if len(problems) == before else None


def _text(row: Row, column: str) -> str:
    text = row.cells.get(column, "")
    return "" if text in _DASHES else text


def _read_status(row: Row, problems: ProblemList) -> FinishStatus | None:
    """The status from its own column or from the time's; "finished" where neither says any."""
    words = {"status": _text(row, "status"), "time": _text(row, "time")}
    stated = {
        _read_word(row, column, word, problems)
        for column, word in words.items()
        if word and (column == "status" or _is_word(word))
    }
    if len(stated) > 1 and None not in stated:
        why = "The columns status and time say different things. Keep the one that is right."
        problems.add(row.number, "status", why)
    return FinishStatus.FINISHED if not stated else stated.pop() if len(stated) == 1 else None


def _is_word(text: str) -> bool:
    return text[:1].isalpha()


def _read_word(row: Row, column: str, word: str, problems: ProblemList) -> FinishStatus | None:
    if word.casefold().startswith(_DISQUALIFIED):
        problems.add(
            row.number,
            column,
            "A disqualification comes from a ruling, not from this file. Give the time in which "
            "the team crossed the line, or DNF.",
        )
        return None
    status = _STATUSES.get(word.casefold())
    if status is None:
        why = f"{show(word)} is not known here. Write a time, or one of DNS and DNF."
        problems.add(row.number, column, why)
    return status


def _read_time(row: Row, problems: ProblemList) -> tuple[int | None, int]:
    text = _text(row, "time")
    if not text or _is_word(text):
        return None, _FEWEST_DECIMALS
    try:
        thousandths, decimals = parse_time(text)
    except NotATime as error:
        problems.add(row.number, "time", str(error))
        return None, _FEWEST_DECIMALS
    return thousandths, max(decimals, _FEWEST_DECIMALS)

"""Reading the single fields that start lists and finish lists share.

Each function gives the value, or None after it has told the problem (or when the table already
has). Lanes run from 1 to 10: tracks have six to ten lanes (common practice).
"""

from __future__ import annotations

import re
from datetime import datetime

from app.sheets.problems import ProblemList, show
from app.sheets.table import Row

LANES = (1, 10)
HEATS = (1, 999)
PLACES = (1, 10)
COUNTED = ("people", "lanes")
"""Columns that say how many, not which."""
_YEARS = (2000, 2100)
# ASCII digits only: other digits look alike but are rarely meant.
_WHOLE_NUMBER = re.compile("[+-]?[0-9]+")
_SCHEDULED = re.compile(
    r"(?:([0-9]{4})(-[0-9]{2}-[0-9]{2})[T ])?([0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?)"
    r"(Z|[+-][0-9]{2}:[0-9]{2})?"
)


def read_required_text(row: Row, column: str, problems: ProblemList) -> str | None:
    """A text that must be there."""
    text = row.cells.get(column)
    if text != "":
        return text
    problems.add(
        row.number,
        column,
        f"The {column} is empty. Fill it in on every row, also where cells were merged.",
    )
    return None


def read_whole_number(
    row: Row, column: str, bounds: tuple[int, int], problems: ProblemList
) -> int | None:
    """A number that must be there and lie within bounds, both included."""
    text = read_required_text(row, column, problems)
    if text is None:
        return None
    low, high = bounds
    if not _WHOLE_NUMBER.fullmatch(text):
        why = f"{show(text)} is no whole number. Write the {column} as a number, {low} to {high}."
        problems.add(row.number, column, why)
        return None
    # Longer numbers are out of bounds anyway, and slow to convert.
    number = int(text[:12])
    if low <= number <= high:
        return number
    none = f"There is no {column} {show(text)}"
    if column in COUNTED:
        none = f"{show(text)} is no number of {column}"
    why = f"{none}; it runs from {low} to {high}. Correct it."
    problems.add(row.number, column, why)
    return None


def read_scheduled(row: Row, column: str, problems: ProblemList) -> str | None:
    """A start time, "14:20" or "2026-05-03T14:20" (ISO 8601), or None where there is none."""
    text = row.cells.get(column, "")
    if not text:
        return None
    try:
        return parse_scheduled(text)
    except ValueError:
        problems.add(
            row.number,
            column,
            f"{show(text)} is no start time. Write it as 14:20 or as 2026-05-03 14:20, with a "
            f"year from {_YEARS[0]} to {_YEARS[1]}.",
        )
        return None


def parse_scheduled(text: str) -> str:
    """The start time in ISO 8601 as its author meant it; raises ValueError when there is none."""
    parts = _SCHEDULED.fullmatch(text)
    if parts is None or (parts[4] and not parts[1]):
        raise ValueError("not a start time")
    year = parts[1] or str(_YEARS[0])
    if not _YEARS[0] <= int(year) <= _YEARS[1]:
        raise ValueError("a year nobody plans for")
    clock = parts[3] if parts[3][1].isdigit() else f"0{parts[3]}"
    moment = datetime.fromisoformat(f"{year}{parts[2] or '-01-01'}T{clock}{parts[4] or ''}")
    precision = "seconds" if moment.second else "minutes"
    if parts[1]:
        return moment.isoformat(timespec=precision)
    return moment.time().isoformat(timespec=precision)

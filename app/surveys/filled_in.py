"""Whether a survey list that is there holds what would be lost if it were written anew. Pure.

What is not as this program writes it was changed by somebody: another column, another separator.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Final, TypeAlias

from app.rules.book import Book
from app.rules.survey import Verdict
from app.rules.track import Track
from app.sheets.survey_list import COLUMNS, REQUIRED
from app.surveys.lines_list import lines_csv
from app.surveys.listing import read_file, zones_listed

Line: TypeAlias = dict[str, str]

NOT_YET: Final = ("measured_m", "off_m", "verdict")
"""Columns that are empty in a list that goes out."""
SAME_M: Final = 0.0025
"""What was measured is told to the millimetre, and what it was reckoned from may be finer; a tape
shows half of what a line is off at the least. Both are rounded once more.
"""


def is_blank(content: bytes) -> bool:
    """Whether nobody has filled in anything, nor chosen another mark to measure from."""
    lines = _lines(content)
    return lines is not None and all(
        not _says_something(line) and line["measured_from"] == line["tape_from"] for line in lines
    )


def is_as_judged(content: bytes, book: Book, track: Track) -> bool:
    """Whether it says of every line what was measured and, on this track, how far off that is: so
    it was judged from a list that is kept, and nobody has touched it since.
    """
    lines = _lines(content)
    if lines is None:
        return False
    zones, seen = zones_listed(read_file(content, {}), book, track, None)
    reckoned = _lines(lines_csv(one.zone for one in zones).encode()) or ()
    anew = {_which(line): line for line in reckoned}
    measured = filter(_says_something, lines)
    return not seen.problems and all(_agrees(line, anew.get(_which(line))) for line in measured)


def _says_something(line: Line) -> bool:
    return any(line[column] for column in NOT_YET)


def _which(line: Line) -> tuple[str, ...]:
    return tuple(line[column] for column in REQUIRED[:4])


def _is_verdict(text: str) -> bool:
    return text in {"", *(one.value for one in Verdict)}


def _agrees(line: Line, anew: Line | None) -> bool:
    if anew is None or line["measured_from"] != anew["measured_from"]:
        return False
    if not _is_verdict(line["verdict"]):
        return False
    try:
        return abs(float(line["off_m"]) - float(anew["off_m"])) <= SAME_M
    except ValueError:  # somebody wrote something else
        return False


def _lines(content: bytes) -> Sequence[Line] | None:
    """The rows of a list that is written as it goes out, else None."""
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    if not rows or tuple(rows[0]) != COLUMNS or any(len(row) != len(COLUMNS) for row in rows):
        return None
    return [dict(zip(COLUMNS, row, strict=True)) for row in rows[1:]]

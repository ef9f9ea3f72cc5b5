"""Whether a survey list that is there holds what would be lost if it were written anew. Pure.

What is not as this program writes it, cell by cell, was changed by somebody, or is of another track
or edition: where its lines lie would be lost then.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Final, TypeAlias

from app.rules.book import Book
from app.rules.relay import Relay
from app.rules.survey import Verdict
from app.rules.track import Track
from app.sheets.survey_list import COLUMNS, REQUIRED
from app.surveys.lines_list import lines_csv
from app.surveys.listing import read_file, zones_listed, zones_with

Line: TypeAlias = dict[str, str]
Lines: TypeAlias = Mapping[tuple[str, ...], Line]

NO_LINES: Final[Lines] = {}


def is_blank(content: bytes, book: Book, track: Track) -> bool:
    """Whether it is as it goes out, and nobody has filled in or remarked anything."""
    lines = _lines(content)
    return not any(line["measured_m"] for line in lines.values()) and _is_as_written(
        content, lines, book, track
    )


def is_as_judged(content: bytes, book: Book, track: Track) -> bool:
    """Whether it is as this program judges what it says was measured, by any tolerance: so it was
    judged from a list that is kept, and nobody has touched it since.
    """
    return _is_as_written(content, _lines(content), book, track)


def _is_as_written(content: bytes, lines: Lines, book: Book, track: Track) -> bool:
    if not lines:
        return False
    relays = {Relay(line["relay"]) for line in lines.values() if line["relay"] in set(Relay)}
    found, _ = zones_listed(read_file(content, {}), book, track, None)
    anew = _lines(lines_csv(zones_with(found, relays, book, track)).encode())
    return _but_for_verdicts(lines) == _but_for_verdicts(anew) and _is_by_one_tolerance(lines)


def _but_for_verdicts(lines: Lines) -> Lines:
    return {which: {**line, "verdict": ""} for which, line in lines.items()}


def _is_by_one_tolerance(lines: Lines) -> bool:
    """Whether there is a tolerance that all verdicts are by; off by the same, both are the same."""
    off: dict[str, list[float]] = {}
    for line in lines.values():
        off.setdefault(line["verdict"], []).append(abs(float(line["off_m"] or 0)))
        if bool(line["verdict"]) != bool(line["off_m"]):
            return False
    if not off.keys() <= {"", *(one.value for one in Verdict)}:
        return False
    right, wrong = off.get(Verdict.RIGHT, []), off.get(Verdict.WRONG, [])
    if Verdict.NOT_JUDGED in off:
        return not right and not wrong
    return not right or not wrong or max(right) < min(wrong)


def _lines(content: bytes) -> Lines:
    """The rows of a list that has the columns of one that goes out, line by line; else none."""
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return NO_LINES
    if not rows or tuple(rows[0]) != COLUMNS or any(len(row) != len(COLUMNS) for row in rows):
        return NO_LINES
    lines = [dict(zip(COLUMNS, row, strict=True)) for row in rows[1:]]
    by_line = {tuple(line[column] for column in REQUIRED[:4]): line for line in lines}
    return by_line if len(by_line) == len(lines) else NO_LINES

"""Reading a list of measured zone lines: what a tape showed, line by line.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing.
The list that is given out has a column for where each line must lie besides; those are left aside
when it comes back. A row without a measured value says nothing.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.rules.relay import Relay, relay_named
from app.rules.survey import LEAST_TAPE_M, LETTERS, MOST_TAPE_M, Mark, ZoneLine
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import LANES, read_required_text, read_whole_number
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table

REQUIRED: Final = ("relay", "take_over", "lane", "line", "measured_from", "measured_m")
GIVEN: Final = (
    *("part_of_lap", "metres_into_it", "tape_from", "tape_m", "or_from", "or_m"),
    *("from_lane_inside_m", "off_m", "verdict"),
)
"""What stands in the list that is given out, and is reckoned anew when it comes back."""
COLUMNS: Final = (*REQUIRED[:4], *GIVEN[:7], *REQUIRED[4:], *GIVEN[7:])
SAME_M: Final = 0.002
"""Two that are told to the millimetre."""
NOT_SHORT: Final[Mapping[str, str]] = MappingProxyType({})
_AS_ON_SHEETS: Final = {letter.casefold(): mark.value for mark, letter in LETTERS.items()} | {
    "inside": Mark.LANE_INSIDE.value
}
"""What the sheets write for a mark."""
TAKE_OVERS: Final = (1, 3)
_NUMBER = re.compile(r"([-+−]?)([0-9]{1,3})(?:[.,]([0-9]{1,20}))?")


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    """One line that was measured, in metres from a mark."""

    row: int
    relay: Relay
    take_over: int
    lane: int
    line: ZoneLine
    mark: Mark
    metres: float
    lies: tuple[float, float] | None
    """Where the list that went out has it, along its part of the lap, and by how much at the most
    that is rounded; None where it says nothing of it."""


def read_survey_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[MeasuredRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The lines, the columns that are left aside, and the problems; take the list over only when
    there are none. Raises SheetRefused when the file is no table.
    """
    problems = ProblemList()
    columns = Columns((*REQUIRED, *GIVEN), REQUIRED, (), mapping)
    table = fill_table(content, columns, problems)
    measured = [row for row in table.rows if row.cells.get("measured_m", "?")]
    found = [_read(row, problems) for row in measured]
    lines = tuple(one for one in found if one is not None)
    _tell_of_doubled(lines, problems)
    if not measured and not problems:
        problems.add(None, None, "This list holds no measured value. Fill in measured_m.")
    return lines, table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> MeasuredRow | None:
    relay = _relay(row, problems)
    take_over = read_whole_number(row, "take_over", TAKE_OVERS, problems)
    lane = read_whole_number(row, "lane", LANES, problems)
    line = _word(row, "line", [one.value for one in ZoneLine], problems)
    mark = _word(row, "measured_from", [one.value for one in Mark], problems, _AS_ON_SHEETS)
    metres = _metres(row, problems)
    if relay is None or take_over is None or lane is None:
        return None
    if line is None or mark is None or metres is None:
        return None
    lies = _lies(row, problems)
    return MeasuredRow(row.number, relay, take_over, lane, ZoneLine(line), Mark(mark), metres, lies)


def _relay(row: Row, problems: ProblemList) -> Relay | None:
    text = read_required_text(row, "relay", problems)
    relay = None if text is None else relay_named(text)
    if text is not None and relay is None:
        why = f"{show(text)} is no relay that is known here. Write {', '.join(Relay)}."
        problems.add(row.number, "relay", why)
    return relay


def _word(
    row: Row,
    column: str,
    choice: list[str],
    problems: ProblemList,
    short: Mapping[str, str] = NOT_SHORT,
) -> str | None:
    """One of the choice, or what is short for it."""
    text = read_required_text(row, column, problems)
    if text is None:
        return None
    said = " ".join(text.casefold().replace("_", " ").split())
    said = short.get(said, said)
    if said in choice:
        return said
    problems.add(
        row.number, column, f"{show(text)} is not known. Write one of: {', '.join(choice)}."
    )
    return None


def _metres(row: Row, problems: ProblemList) -> float | None:
    text = read_required_text(row, "measured_m", problems)
    if text is None:
        return None
    metres = _number_in(text)
    if metres is None:
        why = f"{show(text)} is no length. Write metres, such as 34.91."
        problems.add(row.number, "measured_m", why)
        return None
    if LEAST_TAPE_M <= metres <= MOST_TAPE_M:
        return metres
    why = f"{show(text)} m is more than a tape is laid here; it runs from -5 to 150. Correct it."
    problems.add(row.number, "measured_m", why)
    return None


def _lies(row: Row, problems: ProblemList) -> tuple[float, float] | None:
    text = row.cells.get("metres_into_it", "").strip()
    metres = _number_in(text)
    if metres is None:
        if text:
            why = f"{show(text)} is no length. Write it as it went out, or clear this column."
            problems.add(row.number, "metres_into_it", why)
        return None
    digits = len(text.replace(",", ".").partition(".")[2])
    return metres, max(SAME_M, 0.5 * 10**-digits)


def _number_in(text: str) -> float | None:
    parts = _NUMBER.fullmatch(text.strip())
    if parts is None:
        return None
    return float(f"{parts[2]}.{parts[3] or '0'}") * (-1 if parts[1] in {"-", "−"} else 1)


def _tell_of_doubled(lines: tuple[MeasuredRow, ...], problems: ProblemList) -> None:
    first: dict[tuple[Relay, int, int, ZoneLine], int] = {}
    for one in lines:
        row = first.setdefault((one.relay, one.take_over, one.lane, one.line), one.row)
        if row != one.row:
            why = f"This line stands in row {row} already. Keep one of both."
            problems.add(one.row, "line", why)

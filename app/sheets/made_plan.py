"""Reading a crew plan that the planner wrote, to change it as little as can be.

Columns as they were written: the starts of the first and the last heat of a spell, the official,
take-overs, edge, lanes and side. Whether people and heats are those of the meet is left to the
planner.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.rules.relay import TAKE_OVERS, Edge, Side
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.crew_list import read_lanes, read_one_of
from app.sheets.fields import read_required_text, read_scheduled
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table

REQUIRED = ("first", "last", "official", "take_over", "edge", "lanes", "side")
WRITTEN = ("first", "last", "heats", "relay", "official", "take_over", "edge", "lanes", "side")
_TAKE_OVERS = re.compile(r"[123](?:\s*[,;]\s*[123])*")


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One official's post from the heat that starts at `first` to the one at `last` (ISO 8601)."""

    row: int
    first: str
    last: str
    official: str
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


def read_made_plan(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[PlanRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The posts, the columns that are left aside, and the problems. Raises SheetRefused when the
    file is no table.
    """
    problems = ProblemList()
    columns = Columns(WRITTEN, REQUIRED, ("first", "last"), mapping)
    table = fill_table(content, columns, problems)
    rows = [post for row in table.rows if (post := _read(row, problems)) is not None]
    return tuple(rows), table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> PlanRow | None:
    first, last = (_read_start(row, column, problems) for column in ("first", "last"))
    official = read_required_text(row, "official", problems)
    take_overs = _read_take_overs(row, problems)
    edge = read_one_of(row, "edge", tuple(Edge), problems)
    lanes = read_lanes(row, problems)
    side = read_one_of(row, "side", tuple(Side), problems)
    if first is None or last is None or official is None or take_overs is None:
        return None
    if edge is None or lanes is None or side is None:
        return None
    return PlanRow(row.number, first, last, official, take_overs, Edge(edge), lanes, Side(side))


def _read_start(row: Row, column: str, problems: ProblemList) -> str | None:
    if read_required_text(row, column, problems) is None:
        return None
    return read_scheduled(row, column, problems)


def _read_take_overs(row: Row, problems: ProblemList) -> tuple[int, ...] | None:
    text = read_required_text(row, "take_over", problems)
    if text is None:
        return None
    if _TAKE_OVERS.fullmatch(text):
        return tuple(number for number in TAKE_OVERS if str(number) in text)
    problems.add(row.number, "take_over", f"{show(text)} is no take-over. Write 1, 2 or 3.")
    return None

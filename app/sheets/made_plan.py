"""Reading a crew plan that the planner wrote, to change it as little as can be.

Columns as they were written: event, round and heats of a spell, the official, take-overs, edge,
lanes and side; and a row for each who has dropped out. The times beside them are for people: a
programme that is shifted keeps its plan. Whether people and heats are those of the meet is left to
the planner.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.rules.relay import TAKE_OVERS, Edge, Side
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.crew_list import DroppedRow, read_dropped_out, read_lanes, read_one_of
from app.sheets.fields import read_required_text
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table

REQUIRED = ("event", "round", "heat", "official", "take_over", "edge", "lanes", "side")
WRITTEN = ("first", "last", *REQUIRED[:3], "relay", *REQUIRED[3:], "dropped_out")
MOST_HEATS = 200
"""In one row; a spell has a handful."""
_TAKE_OVERS = re.compile(r"[123](?:\s*[,;]\s*[123])*")
_HEATS = re.compile(r"(?P<first>[0-9]{1,4})(?:\s*-\s*(?P<last>[0-9]{1,4}))?")


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One official's post through these heats of a round."""

    row: int
    event: str
    round: str
    heats: tuple[int, ...]
    official: str
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: Side


def read_made_plan(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[PlanRow | DroppedRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The posts and those who dropped out, the columns that are left aside, and the problems.
    Raises SheetRefused when the file is no table.
    """
    problems = ProblemList()
    columns = Columns(WRITTEN, REQUIRED, ("first", "last"), mapping)
    table = fill_table(content, columns, problems)
    rows = [post for row in table.rows if (post := _read(row, problems)) is not None]
    return tuple(rows), table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> PlanRow | DroppedRow | None:
    official = read_required_text(row, "official", problems)
    if row.cells.get("dropped_out"):
        return read_dropped_out(row, official, problems)
    event, of_event = (read_required_text(row, name, problems) for name in ("event", "round"))
    heats = _read_heats(row, problems)
    post = _read_post(row, problems)
    if official is None or event is None or of_event is None or heats is None or post is None:
        return None
    return PlanRow(row.number, event, of_event, heats, official, *post)


def _read_post(
    row: Row, problems: ProblemList
) -> tuple[tuple[int, ...], Edge, tuple[int, ...], Side] | None:
    take_overs = _read_take_overs(row, problems)
    edge = read_one_of(row, "edge", tuple(Edge), problems)
    lanes = read_lanes(row, problems)
    side = read_one_of(row, "side", tuple(Side), problems)
    if take_overs is None or edge is None or lanes is None or side is None:
        return None
    return take_overs, Edge(edge), lanes, Side(side)


def _read_heats(row: Row, problems: ProblemList) -> tuple[int, ...] | None:
    text = read_required_text(row, "heat", problems)
    if text is None:
        return None
    found: set[int] = set()
    for part in re.split(r"[,;]", text):
        span = _HEATS.fullmatch(part.strip())
        first = int(span["first"]) if span else 0
        last = int(span["last"] or first) if span else 0
        if span is None or not first <= last < first + MOST_HEATS:
            why = f"{show(text)} are no heats. Write their numbers, such as 1-4, 6."
            problems.add(row.number, "heat", why)
            return None
        found.update(range(first, last + 1))
    return tuple(sorted(found))


def _read_take_overs(row: Row, problems: ProblemList) -> tuple[int, ...] | None:
    text = read_required_text(row, "take_over", problems)
    if text is None:
        return None
    if _TAKE_OVERS.fullmatch(text):
        return tuple(number for number in TAKE_OVERS if str(number) in text)
    problems.add(row.number, "take_over", f"{show(text)} is no take-over. Write 1, 2 or 3.")
    return None

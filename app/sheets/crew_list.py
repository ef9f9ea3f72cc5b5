"""Reading a crew list: who watches which edge of which take-over for which lanes.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing.
Whether the named people are officials of the meet is left to the caller. Columns and words are the
handbook's: take-over, edge (start or end), lanes (`1-4`, `3, 5`), side of the track.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from app.rules.relay import Edge, Relay, relay_named
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import LANES, read_required_text, read_whole_number
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table

TAKE_OVERS = (1, 3)
SIDES = ("inside", "outside")
REQUIRED = ("official", "take_over", "edge", "lanes")
OPTIONAL = ("side", "relays")
_BETWEEN = re.compile(r"[,;+/\n]")
_SPAN = re.compile(r"([0-9]{1,2})(?:\s*[-–]\s*([0-9]{1,2}))?")


@dataclass(frozen=True, slots=True)
class PostRow:
    """One post of the list. No relays: it stands for all of the meet."""

    row: int
    official: str
    take_over: int
    edge: Edge
    lanes: tuple[int, ...]
    side: str
    relays: tuple[Relay, ...]


def read_crew_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[PostRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The posts, the columns that are left aside, and the problems; take the list over only when
    there are none. Raises SheetRefused when the file is no table.
    """
    problems = ProblemList()
    table = fill_table(content, Columns((*REQUIRED, *OPTIONAL), REQUIRED, (), mapping), problems)
    found = [_read(row, problems) for row in table.rows]
    if not table.rows and not problems:
        problems.add(None, None, "This list names no post. Add a row for each post.")
    return tuple(one for one in found if one is not None), table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> PostRow | None:
    official = read_required_text(row, "official", problems)
    take_over = read_whole_number(row, "take_over", TAKE_OVERS, problems)
    edge = read_one_of(row, "edge", tuple(Edge), problems)
    lanes = read_lanes(row, problems)
    side = read_one_of(row, "side", SIDES, problems) if row.cells.get("side") else SIDES[0]
    relays = _read_relays(row, problems)
    if official is None or take_over is None or edge is None or side is None:
        return None
    if lanes is None or relays is None:
        return None
    return PostRow(row.number, official, take_over, Edge(edge), lanes, side, relays)


def read_one_of(
    row: Row, column: str, choice: tuple[str, ...], problems: ProblemList
) -> str | None:
    """One of these words, whatever its case."""
    text = read_required_text(row, column, problems)
    if text is None:
        return None
    if text.casefold() in choice:
        return text.casefold()
    problems.add(row.number, column, f"{show(text)} is no {column}. Write {' or '.join(choice)}.")
    return None


def read_lanes(row: Row, problems: ProblemList) -> tuple[int, ...] | None:
    """Single lanes and spans of them, in their order."""
    text = read_required_text(row, "lanes", problems)
    if text is None:
        return None
    lanes: set[int] = set()
    for part in filter(None, (part.strip() for part in _BETWEEN.split(text))):
        span = _SPAN.fullmatch(part)
        first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
        if not LANES[0] <= first <= last <= LANES[1]:
            why = (
                f"{show(part)} are no lanes. Write single lanes and spans between {LANES[0]} and "
                f"{LANES[1]}, such as 1-4 or 3, 5."
            )
            problems.add(row.number, "lanes", why)
            return None
        lanes.update(range(first, last + 1))
    return tuple(sorted(lanes)) or None


def _read_relays(row: Row, problems: ProblemList) -> tuple[Relay, ...] | None:
    text = row.cells.get("relays", "")
    relays: set[Relay] = set()
    for part in filter(None, (part.strip() for part in _BETWEEN.split(text))):
        relay = relay_named(part)
        if relay is None:
            why = f"{show(part)} is no relay that is known here. Write {', '.join(Relay)}."
            problems.add(row.number, "relays", why)
            return None
        relays.add(relay)
    return tuple(sorted(relays))

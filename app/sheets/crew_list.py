"""Reading a crew list: who watches which edge of which take-over for which lanes.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing.
Whether the named people are officials of the meet, and the heats on its programme, is left to the
caller. Columns and words are the handbook's: take-over (also several: `1, 2, 3`), edge (start or
end), lanes (`1-4`, `3, 5`), side of the track; and which heats, by event, round and number. A plan
that the planner wrote has a row for each who has dropped out besides: that one is no post.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from app.rules.relay import Edge, Relay, relay_named
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import HEATS, LANES, read_required_text, read_whole_number
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table
from app.visible import likeness

TAKE_OVERS = (1, 3)
SIDES = ("inside", "outside")
REQUIRED = ("official", "take_over", "edge", "lanes")
OF_A_POST = ("side", "relays", "event", "round", "heat")
OPTIONAL = (*OF_A_POST, "dropped_out")
DROPPED_OUT = "yes"
_TAKE_OVERS = re.compile(r"[123](?:\s*[,;+/]\s*[123])*")
_BETWEEN = re.compile(r"[,;+/\n]")
_SPAN = re.compile(r"([0-9]{1,3})(?:\s*[-–]\s*([0-9]{1,3}))?")


@dataclass(frozen=True, slots=True)
class HeatsAsked:
    """The heats of an event, or of one of its rounds, or those with these numbers in it."""

    event: str
    round: str = ""
    numbers: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class PostRow:
    """One row of the list: a post at each of its take-overs. No relays: it stands for all of the
    meet; no heats asked for: for all of those relays.
    """

    row: int
    official: str
    take_overs: tuple[int, ...]
    edge: Edge
    lanes: tuple[int, ...]
    side: str
    relays: tuple[Relay, ...]
    heats: HeatsAsked | None = None


@dataclass(frozen=True, slots=True)
class DroppedRow:
    """Somebody who has dropped out: no post, and nobody to be asked again."""

    row: int
    official: str


def read_crew_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[PostRow | DroppedRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The posts and those who dropped out, the columns that are left aside, and the problems; take
    the list over only when there are none. Raises SheetRefused when the file is no table.
    """
    problems = ProblemList()
    table = fill_table(content, Columns((*REQUIRED, *OPTIONAL), REQUIRED, (), mapping), problems)
    rows = tuple(one for row in table.rows if (one := _read(row, problems)) is not None)
    posts = [one for one in rows if isinstance(one, PostRow)]
    _tell_of_doubled(posts, problems)
    if not posts and not problems:
        problems.add(None, None, "This list names no post. Add a row for each post.")
    return rows, table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> PostRow | DroppedRow | None:
    official = read_required_text(row, "official", problems)
    if row.cells.get("dropped_out"):
        return read_dropped_out(row, official, problems)
    take_overs = read_take_overs(row, problems)
    edge = read_one_of(row, "edge", tuple(Edge), problems)
    lanes = read_lanes(row, problems)
    side = read_one_of(row, "side", SIDES, problems) if row.cells.get("side") else SIDES[0]
    relays = _read_relays(row, problems)
    told = len(problems)
    heats = _read_heats(row, problems)
    if official is None or take_overs is None or edge is None or side is None:
        return None
    if lanes is None or relays is None or len(problems) > told:
        return None
    return PostRow(row.number, official, take_overs, Edge(edge), lanes, side, relays, heats)


def read_dropped_out(row: Row, official: str | None, problems: ProblemList) -> DroppedRow | None:
    """A row that says of somebody that they have dropped out, whatever else stands in it."""
    text = row.cells.get("dropped_out") or ""
    if text.casefold() == DROPPED_OUT:
        return None if official is None else DroppedRow(row.number, official)
    why = f"Has this official dropped out? {show(text)} does not tell. Write yes, or nothing."
    problems.add(row.number, "dropped_out", why)
    return None


def read_take_overs(row: Row, problems: ProblemList) -> tuple[int, ...] | None:
    """One take-over, or several that lie at one place."""
    text = row.cells.get("take_over") or ""
    if _TAKE_OVERS.fullmatch(text):
        return tuple(sorted({int(number) for number in re.findall("[123]", text)}))
    number = read_whole_number(row, "take_over", TAKE_OVERS, problems)
    return None if number is None else (number,)


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
    if read_required_text(row, "lanes", problems) is None:
        return None
    return _read_numbers(row, "lanes", LANES, problems)


def _read_numbers(
    row: Row, column: str, bounds: tuple[int, int], problems: ProblemList
) -> tuple[int, ...] | None:
    text, what = row.cells.get(column) or "", f"{column.removesuffix('s')}s"
    numbers: set[int] = set()
    for part in filter(None, (part.strip() for part in _BETWEEN.split(text))):
        span = _SPAN.fullmatch(part)
        first, last = (int(span[1]), int(span[2] or span[1])) if span else (0, 0)
        if not bounds[0] <= first <= last <= bounds[1]:
            why = (
                f"{show(part)} are no {what}. Write single {what} and spans between "
                f"{bounds[0]} and {bounds[1]}, such as 1-4 or 3, 5."
            )
            problems.add(row.number, column, why)
            return None
        numbers.update(range(first, last + 1))
    return tuple(sorted(numbers)) or None


def _read_heats(row: Row, problems: ProblemList) -> HeatsAsked | None:
    event, of_round, heat = (row.cells.get(one) or "" for one in ("event", "round", "heat"))
    if not event:
        if of_round or heat:
            why = "The heats of which event? Write its name beside the round or the heat."
            problems.add(row.number, "event", why)
        return None
    numbers = _read_numbers(row, "heat", HEATS, problems)
    return HeatsAsked(event, of_round, frozenset(numbers or ()))


def _tell_of_doubled(posts: Sequence[PostRow], problems: ProblemList) -> None:
    """Of rows that say what an earlier one says: they make no further post."""
    first: dict[PostRow, int] = {}
    for one in posts:
        row = first.setdefault(_alike(one), one.row)
        if row != one.row:
            why = f"This post stands in row {row} already. Keep one of both."
            problems.add(one.row, "official", why)


def _alike(one: PostRow) -> PostRow:
    """The row as all that differ by nothing but their place, and how they are written."""
    heats = one.heats and replace(
        one.heats, event=likeness(one.heats.event), round=likeness(one.heats.round)
    )
    return replace(one, row=0, official=likeness(one.official), heats=heats)


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

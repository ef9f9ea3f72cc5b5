"""Reading a list of people for the crew plan: who can stand where, and when.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing. A
row without roles is an umpire's, and without experience that of somebody with one of three. `not`
names positions that somebody may not take, with commas between: `take-over 2`, `end`, `outside`;
words in one go belong together (`take-over 2 end`). All of it is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from app.rules.relay import Edge, Side
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import parse_scheduled, read_required_text, read_whole_number
from app.sheets.officials_list import MAX_NAME_LENGTH, read_roles, tell_of_doubled
from app.sheets.problems import ProblemList, SheetRefused, show
from app.sheets.table import Problem, Row, fill_table

REQUIRED = ("name",)
OPTIONAL = ("roles", "affiliation", "experience", "from", "until", "not")
MOST_PEOPLE = 500
EXPERIENCE = (0, 3)
USUAL_EXPERIENCE = 1
OPEN_ENDS = (None, "00:00")
"""Midnight, where no day is named, is the end of the day."""
OFFSET = re.compile(r"(Z|[+-][0-9]{2}:[0-9]{2})$")
_DAYS_END = re.compile(r"(?:(?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2})[T ])?24:00(?::00)?")
_BETWEEN = re.compile(r"[,;+/\n]")
_POSITION = re.compile(
    r"(?:take[ -]?over\s*(?P<take_over>[123]))?\s*(?P<edge>start|end)?\s*(?P<side>inside|outside)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Position:
    """Positions that somebody may not take: all that agree with what is said."""

    take_over: int | None
    edge: Edge | None
    side: Side | None


@dataclass(frozen=True, slots=True)
class PersonRow:
    """One person of the list. `begins` and `ends` are ISO 8601, with or without a date; None where
    the list does not bound their hours. Without a date they end at 00:00 where they end with the
    day; with one, 24:00 is 00:00 of the next day (ISO 8601).
    """

    row: int
    name: str
    affiliation: str
    roles: tuple[str, ...]
    experience: int
    begins: str | None
    ends: str | None
    barred: tuple[Position, ...]


def read_people_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[PersonRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The people, the columns that are left aside, and the problems; take the list over only when
    there are none. Raises SheetRefused when the file is no table, or is no crew's.
    """
    problems = ProblemList()
    longest = dict.fromkeys(("name", "affiliation"), MAX_NAME_LENGTH)
    columns = Columns((*REQUIRED, *OPTIONAL), REQUIRED, ("from", "until"), mapping, longest=longest)
    table = fill_table(content, columns, problems)
    if len(table.rows) > MOST_PEOPLE:
        raise SheetRefused(
            f"This list names {len(table.rows):,} people; a crew is planned for at most "
            f"{MOST_PEOPLE}. Leave out whoever does not stand at a zone."
        )
    found = [_read(row, problems) for row in table.rows]
    people = tuple(one for one in found if one is not None)
    tell_of_doubled(people, problems)
    if not table.rows and not problems:
        problems.add(None, None, "This list names nobody. Add a row for each official.")
    return people, table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> PersonRow | None:
    name = read_required_text(row, "name", problems)
    roles = read_roles(row, problems) if row.cells.get("roles") else ("umpire",)
    experience = _read_experience(row, problems)
    begins = _read_hour(row, "from", parse_scheduled, problems)
    ends = _read_hour(row, "until", parse_end, problems)
    barred = _read_positions(row, problems)
    _check_hours(row, begins, ends, problems)
    if name is None or roles is None or experience is None or barred is None:
        return None
    affiliation = row.cells.get("affiliation", "")
    return PersonRow(row.number, name, affiliation, roles, experience, begins, ends, barred)


def _read_experience(row: Row, problems: ProblemList) -> int | None:
    if not row.cells.get("experience"):
        return USUAL_EXPERIENCE
    return read_whole_number(row, "experience", EXPERIENCE, problems)


def _read_hour(
    row: Row, column: str, parse: Callable[[str], str], problems: ProblemList
) -> str | None:
    text = row.cells.get(column, "")
    if not text:
        return None
    try:
        return parse(text)
    except ValueError:
        why = f"{show(text)} is no time of the day. Write it as 09:30, or as 2026-05-03 09:30."
        problems.add(row.number, column, why)
        return None


def parse_end(text: str) -> str:
    """The end of hours as its author meant it; ValueError where it is none. A day also ends at its
    24:00 (common practice).
    """
    found = _DAYS_END.fullmatch(text)
    if found is None:
        return parse_scheduled(text)
    if found["day"] is None:
        return "00:00"
    midnight = datetime.fromisoformat(parse_scheduled(f"{found['day']} 00:00"))
    return parse_scheduled((midnight + timedelta(days=1)).isoformat())


def _check_hours(row: Row, begins: str | None, ends: str | None, problems: ProblemList) -> None:
    for column, said in (("from", begins), ("until", ends)):
        if said and OFFSET.search(said):
            why = "Hours are those of the meet's own clock: write them without an offset."
            problems.add(row.number, column, why)
            return
    if not begins or not ends:
        return
    if ("T" in begins) != ("T" in ends):
        why = "Write the date with both from and until, or with neither."
        problems.add(row.number, "until", why)
    elif ends <= begins and ends not in OPEN_ENDS:
        why = f"These hours end at {ends}, before they begin at {begins}. Correct one of the two."
        problems.add(row.number, "until", why)


def _read_positions(row: Row, problems: ProblemList) -> tuple[Position, ...] | None:
    positions = []
    for part in filter(None, (part.strip() for part in _BETWEEN.split(row.cells.get("not", "")))):
        found = _POSITION.fullmatch(part)
        if found is None:
            why = (
                f"{show(part)} is no position. Write take-over 1, 2 or 3, start or end, inside or "
                "outside; with commas between several."
            )
            problems.add(row.number, "not", why)
            return None
        take_over, edge, side = (found[name] for name in ("take_over", "edge", "side"))
        positions.append(
            Position(
                int(take_over) if take_over else None,
                Edge(edge.casefold()) if edge else None,
                Side(side.casefold()) if side else None,
            )
        )
    return tuple(positions)

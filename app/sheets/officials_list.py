"""Reading a list of officials: who they are, and what they may do.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing.
Roles are written as the program names them, or as people say them, several in one cell with commas,
semicolons or plus signs between. That a name stands once in a list is our own rule: the name is
what a later list, and the crew plan, know an official by.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.fields import read_required_text
from app.sheets.problems import ProblemList, show
from app.sheets.table import Problem, Row, fill_table
from app.visible import likeness

MAX_NAME_LENGTH = 120
REQUIRED = ("name", "roles")
OPTIONAL = ("affiliation",)
ROLES: Mapping[str, str] = MappingProxyType(
    {
        "umpire": "umpire",
        "zone umpire": "umpire",
        "zone official": "umpire",
        "chief umpire": "chief_umpire",
        "referee": "referee",
        "results": "results",
        "results desk": "results",
        "jury": "jury",
        "jury of appeal": "jury",
        "organiser": "organiser",
    }
)
_BETWEEN = re.compile(r"[,;+/\n]")


class Named(Protocol):
    """A row that names somebody."""

    @property
    def row(self) -> int: ...

    @property
    def name(self) -> str: ...


@dataclass(frozen=True, slots=True)
class OfficialRow:
    """One official of the list. An empty affiliation says nothing of it."""

    row: int
    name: str
    affiliation: str
    roles: tuple[str, ...]


def read_officials_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[tuple[OfficialRow, ...], tuple[str, ...], tuple[Problem, ...]]:
    """The officials, the columns that are left aside, and the problems; take the list over only
    when there are none. Raises SheetRefused when the file is no table.
    """
    problems = ProblemList()
    longest = dict.fromkeys(("name", "affiliation"), MAX_NAME_LENGTH)
    columns = Columns((*REQUIRED, *OPTIONAL), REQUIRED, (), mapping, longest=longest)
    table = fill_table(content, columns, problems)
    found = [_read(row, problems) for row in table.rows]
    officials = tuple(one for one in found if one is not None)
    tell_of_doubled(officials, problems)
    if not table.rows and not problems:
        problems.add(None, None, "This list names nobody. Add a row for each official.")
    return officials, table.ignored_columns, problems.told()


def _read(row: Row, problems: ProblemList) -> OfficialRow | None:
    name = read_required_text(row, "name", problems)
    roles = read_roles(row, problems)
    if name is None or roles is None:
        return None
    return OfficialRow(row.number, name, row.cells.get("affiliation", ""), roles)


def read_roles(row: Row, problems: ProblemList) -> tuple[str, ...] | None:
    """The roles that a cell names, each once."""
    text = read_required_text(row, "roles", problems)
    if text is None:
        return None
    said = [part.strip() for part in _BETWEEN.split(text) if part.strip()]
    known = [ROLES.get(" ".join(part.casefold().replace("_", " ").split())) for part in said]
    for part, role in zip(said, known, strict=True):
        if role is None:
            choice = ", ".join(dict.fromkeys(ROLES.values()))
            why = f"{show(part)} is no role. Write one or more of: {choice}; with commas between."
            problems.add(row.number, "roles", why)
    roles = tuple(sorted({role for role in known if role is not None}))
    return roles if roles and None not in known else None


def tell_of_doubled(officials: Iterable[Named], problems: ProblemList) -> None:
    """Of each name that stands in an earlier row already."""
    first: dict[str, int] = {}
    for one in officials:
        row = first.setdefault(likeness(one.name), one.row)
        if row != one.row:
            why = (
                f"{show(one.name)} stands in row {row} already. Put all roles into one row, or "
                "tell two people of one name apart, by a second name or a town."
            )
            problems.add(one.row, "name", why)

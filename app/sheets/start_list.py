"""Reading a start list: who runs in which lane of which heat.

Answers what the list says and everything that is wrong with it, in one pass, and stores nothing;
whether and how it is taken over is left to the caller. A list with problems must not be taken
over at all, not even in part. That a team runs once in a heat, has one lane and one affiliation,
and that an event is one relay, is common practice.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from app.rules.relay import Relay, relay_named
from app.sheets.columns import NO_MAPPING, Columns
from app.sheets.draw_checks import DrawChecks, Line
from app.sheets.fields import (
    HEATS,
    LANES,
    read_required_text,
    read_scheduled,
    read_whole_number,
)
from app.sheets.limits import (
    MAX_BIB_LENGTH,
    MAX_EVENT_LENGTH,
    MAX_ROUND_LENGTH,
    MAX_TEAM_LENGTH,
)
from app.sheets.problems import Problem, ProblemList, SheetRefused, show
from app.sheets.table import Row, fill_table

__all__ = ["Entry", "HeatRows", "Problem", "SheetRefused", "StartList", "read_start_list"]

REQUIRED = ("event", "round", "heat", "lane", "team")
LEGS = tuple(f"leg{number}" for number in range(1, 9))
OPTIONAL = ("affiliation", "bib", "relay", "scheduled", *LEGS)
LONGEST: Mapping[str, int] = MappingProxyType(
    {
        "event": MAX_EVENT_LENGTH,
        "round": MAX_ROUND_LENGTH,
        "bib": MAX_BIB_LENGTH,
        **dict.fromkeys(("team", "affiliation", *LEGS), MAX_TEAM_LENGTH),
    }
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One team in one lane. `legs` names the runners in order, as far as the list does."""

    row: int
    lane: int
    team: str
    affiliation: str
    bib: str
    legs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeatRows:
    """One heat and its teams, in the order of the list. `scheduled` is ISO 8601, a time of day
    with or without its date, exactly as far as the list gives it.
    """

    event: str
    relay: Relay
    round: str
    heat: int
    scheduled: str | None
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class StartList:
    """The heats in the order in which the list first names them."""

    heats: tuple[HeatRows, ...]
    ignored_columns: tuple[str, ...]


def read_start_list(
    content: bytes, mapping: Mapping[str, str] = NO_MAPPING
) -> tuple[StartList, tuple[Problem, ...]]:
    """The list and its problems; take it over only when there are none.

    `mapping` leads from a header in the file to one of our columns. Raises SheetRefused when the
    file is no table.
    """
    problems = ProblemList()
    columns = Columns((*REQUIRED, *OPTIONAL), REQUIRED, ("scheduled",), mapping, longest=LONGEST)
    table = fill_table(content, columns, problems)
    checks = DrawChecks(problems)
    relays = _RelayFinder(problems)
    lines = [_read_line(row, relays, problems) for row in table.rows]
    for line in lines:
        checks.check(line)
    if not lines and not problems:
        problems.add(None, None, "This list names no team. Add a row for each team and heat.")
    return StartList(_gather_heats(lines), table.ignored_columns), problems.told()


def _read_line(row: Row, relays: _RelayFinder, problems: ProblemList) -> Line:
    event = read_required_text(row, "event", problems)
    relay = relays.find(row, event)
    return Line(
        row=row.number,
        event=event,
        round=read_required_text(row, "round", problems),
        heat=read_whole_number(row, "heat", HEATS, problems),
        lane=read_whole_number(row, "lane", LANES, problems),
        team=read_required_text(row, "team", problems),
        affiliation=row.cells.get("affiliation", ""),
        bib=row.cells.get("bib", ""),
        relay=relay,
        scheduled=read_scheduled(row, "scheduled", problems),
        legs=_read_legs(row, relay, problems),
    )


def _read_legs(row: Row, relay: Relay | None, problems: ProblemList) -> tuple[str, ...]:
    names = [row.cells.get(leg, "") for leg in LEGS]
    while names and not names[-1]:
        names.pop()
    if relay is not None and len(names) > len(relay.legs):
        problems.add(
            row.number,
            f"leg{len(names)}",
            f"A {relay} has {len(relay.legs)} legs, but a runner is named for leg "
            f"{len(names)}. Empty the cell; reserves do not belong in this list.",
        )
    return tuple(names)


class _RelayFinder:
    """Which relay an event is: from the column `relay`, else from the event's name."""

    def __init__(self, problems: ProblemList) -> None:
        self._problems = problems
        self._unclear: set[str] = set()

    def find(self, row: Row, event: str | None) -> Relay | None:
        stated = row.cells.get("relay")
        if stated:
            return self._read_stated(row, stated)
        if stated is None or event is None:
            return None
        relay = relay_named(event)
        if relay is None and event.casefold() not in self._unclear:
            # Once an event: eight times the same sentence for each heat would hide the rest.
            self._unclear.add(event.casefold())
            self._tell_unclear(row, event)
        return relay

    def _read_stated(self, row: Row, stated: str) -> Relay | None:
        relay = relay_named(stated)
        if relay is None:
            self._problems.add(
                row.number,
                "relay",
                f"{show(stated)} is no relay that is known here. Write {_CHOICE}.",
            )
        return relay

    def _tell_unclear(self, row: Row, event: str) -> None:
        self._problems.add(
            row.number,
            "event",
            f"The name {show(event)} does not say which relay it is. Put it into the name, or "
            f"add a column “relay” that says {_CHOICE}.",
        )


_CHOICE = f"{', '.join(list(Relay)[:-1])} or {list(Relay)[-1]}"


def _gather_heats(lines: list[Line]) -> tuple[HeatRows, ...]:
    heats: dict[Hashable, HeatRows] = {}
    entries: dict[Hashable, list[Entry]] = {}
    for line in lines:
        heat = _name_heat(line)
        if heat is None or line.lane is None or line.team is None:
            continue
        key = line.heat_key()
        first = heats.setdefault(key, heat)
        heats[key] = replace(first, scheduled=first.scheduled or heat.scheduled)
        entry = Entry(line.row, line.lane, line.team, line.affiliation, line.bib, line.legs)
        entries.setdefault(key, []).append(entry)
    return tuple(replace(heat, entries=tuple(entries[key])) for key, heat in heats.items())


def _name_heat(line: Line) -> HeatRows | None:
    """The heat of this row, still without teams; None where the row does not say which."""
    if line.event is None or line.relay is None or line.round is None or line.heat is None:
        return None
    return HeatRows(line.event, line.relay, line.round, line.heat, line.scheduled, ())

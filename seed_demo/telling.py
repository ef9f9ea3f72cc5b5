"""How is the story told on a terminal: a table of what happened, 100 columns wide, day by day.

Names come in many scripts, so a column is measured in cells as terminals show them (Unicode
Standard Annex 11: wide letters take two, combining marks none), not in characters.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from app.clock import clock_time, long_date
from app.reports.wire import CaseLine
from app.results.finality import Finality

WIDTH = 100
GAP = "  "
TIME, HEAT, WHO = 8, 12, 20
WHAT = WIDTH - TIME - HEAT - WHO - 3 * len(GAP)


@dataclass(frozen=True, slots=True)
class Told:
    """What a deed says about itself: which heat, by its key, who did it, and what came of it."""

    heat: str
    who: str
    what: str


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of what happened at the meet."""

    at: datetime
    told: Told


def table_of(happenings: Iterable[Happening], zone: str) -> Iterator[str]:
    """The table's lines: time of day at the meet, heat, who, and what happened.

    Each day is named where it begins; a served story may run over midnight.
    """
    yield _line("time", "heat", "who", "what happened")
    yield _line("-" * TIME, "-" * HEAT, "-" * WHO, "-" * WHAT)
    day = ""
    for one in happenings:
        if day != (day := _day(one, zone)):
            yield day
        first, *more = wrap(one.told.what, WHAT)
        at = f"{one.at.astimezone(ZoneInfo(zone)):%H:%M:%S}"
        yield _line(at, one.told.heat.replace("-", " "), one.told.who, first)
        yield from (_line("", "", "", words) for words in more)


def _day(one: Happening, zone: str) -> str:
    return f"{one.at.astimezone(ZoneInfo(zone)):%A}, {long_date(one.at, zone)}"


def left_open(cases: Iterable[CaseLine]) -> Iterator[str]:
    """The cases that the story leaves to whoever reads it, a sentence each."""
    for case in cases:
        text = (
            f"Left for you to rule on: case {case.number}, lane {case.lane}, {case.team_name}, in "
            f"{case.event_name}, {case.round}, heat {case.heat_number}."
        )
        yield from wrap(text, WIDTH)


def what_is_final(known: Iterable[tuple[str, Finality]], zone: str) -> Iterator[str]:
    """What is final since when, and what each other result still waits for, a sentence each."""
    for heat_key, one in known:
        name = heat_key.replace("-", " ").capitalize()
        if one.since is not None:
            yield f"{name}: final since {clock_time(one.since, zone)}."
        elif one.pending:
            yield from wrap(f"{name}: not final. {' '.join(one.pending)}", WIDTH)


def wrap(text: str, width: int) -> Sequence[str]:
    """A text broken between words into lines of at most so many cells."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if lines[-1] and cells(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def cells(text: str) -> int:
    """How many cells a terminal needs for a text."""
    return sum(_cells_of(character) for character in text)


def _cells_of(character: str) -> int:
    if unicodedata.category(character) in {"Mn", "Me", "Cf"}:
        return 0
    return 2 if unicodedata.east_asian_width(character) in {"W", "F"} else 1


def _line(at: str, heat: str, who: str, what: str) -> str:
    columns = [_pad(at, TIME), _pad(heat, HEAT), _pad(who, WHO), what]
    return GAP.join(columns).rstrip()


def _pad(text: str, width: int) -> str:
    return text + " " * max(0, width - cells(text))

"""Reading a race time as people and timing systems write it, and writing it as results show it.

Reading answers how many thousandths of a second a text means and to how many decimals it was given.
Taken are seconds (42.35), minutes (3:02.12) and hours (1:02:03.45), with a decimal point or comma;
1/100 s and 1/1000 s are photo finish, 1/10 s is hand timing (World Athletics TR19, from memory).
"""

from __future__ import annotations

import re

from app.rules.placing import HUNDREDTHS
from app.sheets.problems import show

# No relay on a track takes as long; longer "times" are times of day or slips of the comma.
LONGEST_THOUSANDTHS = 2 * 3600 * 1000
_TIME = re.compile(
    r"(?:(?:(?P<hours>[0-9]{1,2}):)?(?P<minutes>[0-9]{1,3}):)?"
    r"(?P<seconds>[0-9]{1,5})(?:[.,](?P<decimals>[0-9]+))?"
)
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}.*")
_WAY_OUT = "Write it as 42.35 or 3:02.12."


class NotATime(ValueError):
    """The text is no time that a relay team can run; says why and how to write it."""


def parse_time(text: str) -> tuple[int, int]:
    """Thousandths of a second, and the number of decimals given (1 to 3)."""
    parts = _TIME.fullmatch(text.strip())
    if parts is None and _DATE.fullmatch(text.strip()):
        raise NotATime(
            f"{show(text)} is a date: the spreadsheet has made it of what was typed. Format the "
            "column as text and type the time again."
        )
    if parts is None:
        raise NotATime(f"{show(text)} is no time. {_WAY_OUT}")
    hours, minutes, seconds = (parts[name] for name in ("hours", "minutes", "seconds"))
    if hours and int(minutes) > 59:
        raise NotATime(f"{show(text)} has more than 59 minutes in its hour. {_WAY_OUT}")
    if minutes and (int(seconds) > 59 or len(seconds) != 2):
        raise NotATime(f"{show(text)} needs two figures, 00 to 59, as its seconds. {_WAY_OUT}")
    decimals = _read_decimals(text, parts["decimals"] or "")
    whole = int(hours or 0) * 3600 + int(minutes or 0) * 60 + int(seconds)
    return _check_range(text, whole * 1000 + int(decimals.ljust(3, "0"))), len(decimals)


def _read_decimals(text: str, decimals: str) -> str:
    if not decimals:
        raise NotATime(f"{show(text)} has no decimals. Write them, even if they are 00: 43.00.")
    if len(decimals) > 3:
        raise NotATime(f"{show(text)} has more than three decimals. Give at most 0.001 s.")
    return decimals


def _check_range(text: str, thousandths: int) -> int:
    if not 0 < thousandths <= LONGEST_THOUSANDTHS:
        raise NotATime(f"{show(text)} is no time that a relay team runs. {_WAY_OUT}")
    return thousandths


def show_time(thousandths: int, decimals: int) -> str:
    """A time as results show it, to the hundredth: 42.35, 3:02.12.

    Thousandths part ties and are rounded up for the result (World Athletics TR19, from memory).
    """
    if decimals > HUNDREDTHS:
        thousandths, decimals = -(-thousandths // 10) * 10, HUNDREDTHS
    seconds, fraction = divmod(thousandths, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    tail = f".{fraction:03d}"[: decimals + 1]
    if hours:
        return f"{hours}:{minutes:02d}:{seconds:02d}{tail}"
    return f"{minutes}:{seconds:02d}{tail}" if minutes else f"{seconds}{tail}"

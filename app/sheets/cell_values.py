"""Showing a spreadsheet's stored number as a person sees it.

A workbook stores 42.3 and the format "0.00"; a person sees 42.30. Numbers are shown with at least
the decimals and leading zeros of their format, yet never with fewer decimals than are stored: a
thousandth hidden by a format still counts. Dates and durations are numbers of days in the store
(ECMA-376, Part 1, 18.17.4).
"""

from __future__ import annotations

import math
import re
from datetime import datetime, time
from decimal import Decimal
from functools import lru_cache

from openpyxl.styles.numbers import (  # type: ignore[import-untyped]
    is_date_format,
    is_timedelta_format,
)
from openpyxl.utils.datetime import from_excel  # type: ignore[import-untyped]

from app.sheets.cells import GridCell, Moment, Unreadable

_MILLISECONDS_A_DAY = 86_400_000
_PLAIN_FORMAT = re.compile(r"(0+)(?:\.(0+))?(?:[;_].*)?")
_HOURS = re.compile("[hH]")
_SECOND_DECIMALS = re.compile(r"[sS]+\]?\.(0+)")
_NOT_A_NUMBER = Unreadable("This cell holds a number that cannot be read. Type it again.")
_NOT_A_DATE = Unreadable("This cell holds a date outside the calendar. Type it again as text.")


def show_number(raw: str, code: str, epoch: datetime) -> GridCell:
    """The text of a stored number under the number format `code`; dates count from `epoch`."""
    try:
        value = float(raw)
    except ValueError:
        return _NOT_A_NUMBER
    if not math.isfinite(value):
        return _NOT_A_NUMBER
    if _shows_time(code):
        return _show_moment(value, code, epoch)
    return _show_plain(value, code)


@lru_cache(maxsize=256)
def _shows_time(code: str) -> bool:
    return bool(is_date_format(code))


def _show_plain(value: float, code: str) -> str:
    # Spreadsheets keep 15 digits; the rest is noise of binary fractions.
    digits = f"{Decimal(f'{value:.15g}'):f}"
    whole, _, decimals = digits.partition(".")
    decimals = decimals.rstrip("0")
    if plain := _PLAIN_FORMAT.fullmatch(code):
        whole = whole.zfill(len(plain[1]))
        decimals = decimals.ljust(len(plain[2] or ""), "0")
    return f"{whole}.{decimals}" if decimals else whole


def _show_moment(value: float, code: str, epoch: datetime) -> GridCell:
    if value < 0:
        return _NOT_A_DATE
    if value < 1 or is_timedelta_format(code):
        return Moment(_show_duration(value, code))
    try:
        moment: datetime = from_excel(value, epoch)
    except (OverflowError, ValueError):
        return _NOT_A_DATE
    if moment.time() == time.min and not _HOURS.search(code):
        # A date alone: its midnight was never meant as a time of day.
        return Moment(moment.date().isoformat())
    return Moment(moment.isoformat(sep=" "))


def _show_duration(days: float, code: str) -> str:
    seconds, thousandths = divmod(round(days * _MILLISECONDS_A_DAY), 1000)
    hours, minutes = seconds // 3600, seconds // 60 % 60
    shown = _SECOND_DECIMALS.search(code)
    decimals = f"{thousandths:03}".rstrip("0").ljust(len(shown[1]) if shown else 0, "0")
    text = f"{hours}:{minutes:02}:{seconds % 60:02}"
    return f"{text}.{decimals}" if decimals else text

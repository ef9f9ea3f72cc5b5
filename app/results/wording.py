"""How are several things named, and counted, in one sentence, and how is a time said aloud?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from app.clock import clock_time, long_date

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

LETTERS = {
    "Q": "by place",
    "q": "by time",
    "qR": "by the referee's decision",
    "qJ": "by the jury's decision",
    "qD": "by lot",
}
"""By what a team goes on to the next round."""


def listed(parts: Sequence[str]) -> str:
    """Parts as people list them: "1", "1 and 2", "1, 2 and 3"."""
    *first, last = parts
    return f"{', '.join(first)} and {last}" if first else last


def tie(names: Sequence[str], places: int) -> str:
    """Who ties for what: "Gull and Curlew tie for one place"."""
    return f"{listed(names)} tie for {'one place' if places == 1 else f'{places} places'}"


def number_aloud(count: int) -> str:
    """A count as it is read: in a word up to nine."""
    return NUMBERS[count] if count < len(NUMBERS) else str(count)


def lodged(remedy: str, kind: str) -> str:
    """What can be lodged in a window: "Protests", "Protests (clerical or scoring error)"."""
    what = f"{remedy.capitalize()}s"
    return what if kind == remedy else f"{what} ({kind})"


def length(minutes: int) -> str:
    """A length of time as people say it: "30 minutes", "48 hours"."""
    hours, rest = divmod(minutes, 60)
    if rest or not hours:
        return f"{minutes} minute{'' if minutes == 1 else 's'}"
    return f"{hours} hour{'' if hours == 1 else 's'}"


def time_aloud(instant: datetime, told_at: datetime, zone: str) -> str:
    """The clock time at the meet, with the day before it where that is not the day on which it is
    told: "15:33:10 CEST", "14 June 2026, 09:05:00 CEST".
    """
    time, day = clock_time(instant, zone), long_date(instant, zone)
    return time if day == long_date(told_at, zone) else f"{day}, {time}"


def at_time(instant: datetime, told_at: datetime, zone: str) -> str:
    """When something was done: "at 15:33:10 CEST", "on 14 June 2026 at 09:05:00 CEST"."""
    time, day = clock_time(instant, zone), long_date(instant, zone)
    return f"at {time}" if day == long_date(told_at, zone) else f"on {day} at {time}"


def sentence(words: str) -> str:
    """Words that begin a sentence."""
    return words[:1].upper() + words[1:]


def in_sentence(words: str) -> str:
    """Words that began a sentence, for the middle of one."""
    return words[:1].lower() + words[1:]

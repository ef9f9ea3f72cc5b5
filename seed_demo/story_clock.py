"""Which instants are the story's times of day, and what does the clock say while it is played?

The story is written in times of day. Played for its papers it stands on the day that `meet.toml`
names, so that a second run tells the same times; played to be served it ends now, so that the
last windows still run. How an instant is written is left to `app/clock.py`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

TIME_OF_DAY = re.compile(r"(?<![\d:])\d{2}:\d{2}(?![\d:])")


@dataclass(frozen=True, slots=True)
class Timetable:
    """The instant at which the meet is set up, and the time of day that the story gives it."""

    set_up_at: datetime
    first: time

    def instant(self, at: time) -> datetime:
        """The instant of a time of day in the story."""
        return self.set_up_at + span(self.first, at)

    def move_programme(self, start_list: str, zone: str) -> str:
        """A start list whose start times are moved to where the story is played."""

        def moved(found: re.Match[str]) -> str:
            at = self.instant(time.fromisoformat(found.group()))
            return f"{at.astimezone(ZoneInfo(zone)):%H:%M}"

        return TIME_OF_DAY.sub(moved, start_list)


def span(first: time, last: time) -> timedelta:
    """How long it is from one time of day to a later one."""
    return _since_midnight(last) - _since_midnight(first)


def _since_midnight(at: time) -> timedelta:
    return timedelta(hours=at.hour, minutes=at.minute, seconds=at.second)


def ending_at(now: datetime, first: time, last: time) -> Timetable:
    """The story moved, by whole minutes, so that it ends now or less than a minute ago."""
    begins = now - span(first, last)
    return Timetable(begins.replace(second=0, microsecond=0), first)


class StoryClock:
    """A clock that the story moves forward."""

    def __init__(self, instant: datetime) -> None:
        self._instant = instant

    def now(self) -> datetime:
        return self._instant

    def move_to(self, instant: datetime) -> None:
        """It is later now; ValueError where it would be earlier."""
        if instant < self._instant:
            raise ValueError(
                f"The story goes back from {self._instant} to {instant}; put its steps in order."
            )
        self._instant = instant

    def wait(self, seconds: int) -> None:
        """Some seconds pass."""
        self._instant += timedelta(seconds=seconds)

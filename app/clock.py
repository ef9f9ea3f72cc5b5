"""The one place where time enters, and how an instant is written.

Everything inside works with aware datetimes in UTC. People see the meet's own zone, with its name
beside it, because a protest window that closes at "02:10" on the night the clocks change means two
different instants.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Protocol
from zoneinfo import ZoneInfo


class Clock(Protocol):
    """Tells the present instant, in UTC."""

    def now(self) -> datetime: ...


class SystemClock:
    """The clock of the machine."""

    def now(self) -> datetime:
        return datetime.now(UTC)


def rfc3339(instant: datetime) -> str:
    """An instant as RFC 3339 in UTC with microseconds, such as 2026-06-13T12:03:22.000000Z."""
    # Half the time of strftime, and it is asked three times for every report.
    return instant.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def in_zone(instant: datetime, zone: str) -> str:
    """An instant as people at the meet read it: 2026-06-13 14:03:22 CEST (Europe/Paris)."""
    local = instant.astimezone(ZoneInfo(zone))
    return f"{local:%Y-%m-%d %H:%M:%S %Z} ({zone})"


def at_the_meet(instant: datetime, zone: str) -> str:
    """The same where the zone stands above it: 2026-06-13 14:03:22 CEST."""
    return f"{instant.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S %Z}"


def long_date(instant: datetime, zone: str) -> str:
    """The day at the meet, as it is read aloud: 13 June 2026."""
    local = instant.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%B %Y}"


def clock_time(instant: datetime, zone: str) -> str:
    """The time of day in the meet's zone, with the zone's short name: 14:03:22 CEST."""
    return f"{instant.astimezone(ZoneInfo(zone)):%H:%M:%S %Z}"

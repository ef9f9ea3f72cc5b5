"""The windows as an RFC 5545 calendar: what closes when, in any calendar program."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from app.clock import clock_time
from app.results.wire import WindowOut, WindowsOut
from app.results.wording import length, lodged

if TYPE_CHECKING:
    from icalendar import Event

WARN_BEFORE = timedelta(minutes=5)


def as_calendar(found: WindowsOut) -> bytes:
    """Every window with an end as an event in UTC, in the order of closing.

    Each has a stable UID and an alarm.
    """
    # Not at the top: it costs a twentieth of a cold start.
    from icalendar import Calendar  # noqa: PLC0415

    calendar = Calendar()
    calendar.add("prodid", "-//Zone Docket//windows//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", f"{found.meet}: protests and appeals")
    closing = [(window.closes_at, window) for window in found.windows if window.closes_at]
    for closes_at, window in sorted(closing, key=lambda pair: (pair[0], pair[1].id)):
        calendar.add_component(_event(window, closes_at, clock_time(closes_at, found.time_zone)))
    return bytes(calendar.to_ical())


def _event(window: WindowOut, closes_at: datetime, until: str) -> Event:
    from icalendar import Alarm, Event  # noqa: PLC0415

    event = Event()
    event.add("uid", f"{window.id}@zonedocket")
    event.add("dtstamp", window.opened_at)
    event.add("dtstart", window.opened_at)
    event.add("dtend", closes_at)
    # RFC 5545, 3.8.7.4: the number grows with each revision: a supersession, a corrected time, or
    # that nothing counts there any more (3.8.1.11 has a state for that).
    void = bool(window.does_not_count)
    event.add("sequence", (window.superseded_by or 0) + window.time_corrections + void)
    if void:
        event.add("status", "CANCELLED")
    what = lodged(window.remedy, window.kind)
    event.add("summary", f"{what} until {until}: {window.subject} ({window.opened_by})")
    event.add(
        "description",
        f"{window.kind}, {_counted(window)} ({window.rule}, set by "
        f"the {window.origin}). Closes {window.closes_at_local}, inclusive.{_superseded(window)} "
        f"{window.does_not_count}".rstrip(),
    )
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", f"Closes at {window.closes_at_local}")
    # Not before it opens: a meet may set a time that is shorter than the warning.
    lead = min(WARN_BEFORE, max(closes_at - window.opened_at, timedelta()))
    alarm.add("trigger", -lead, parameters={"RELATED": "END"})
    event.add_component(alarm)
    return event


def _counted(window: WindowOut) -> str:
    start = "the end of the meet" if window.counts_from else window.opened_by
    return f"{length(window.minutes or 0)} from {start}"


def _superseded(window: WindowOut) -> str:
    if window.superseded_by is None:
        return ""
    now = f"announcement {window.superseded_by}"
    return f" {window.opened_by.capitalize()} was superseded: {now} stands."

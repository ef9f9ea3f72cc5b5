"""When and where, as the planner reckons: the heats of a meet, the hours of its people, its track.

Times are seconds after midnight, in the meet's zone, of the day of its first heat, as they pass:
where the clocks change in between, an hour is still an hour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta

from app.crew_search.wire import HoursIn, PersonIn
from app.meets.queries import MeetFacts
from app.meets.track import track_note, track_of
from app.meets.wire import HeatOut
from app.planning.facts import Barred, PlannedHeat, Span
from app.rules.track import Track
from app.sheets.people_list import OPEN_ENDS


class Days:
    """The days of a programme, by its heats with a start time, and instants on them."""

    def __init__(self, facts: MeetFacts, heats: Iterable[HeatOut]) -> None:
        self._facts = facts
        local = [facts.instant(heat.scheduled or "").date() for heat in heats] or [facts.first_day]
        self.first = min(local)
        # Those with heats alone: a date that was typed wrongly may lie a century off.
        self.all = sorted(set(local))
        self._begins = self.midnight(self.first)

    def midnight(self, day: date) -> datetime:
        return self._facts.instant("00:00", day)

    def seconds(self, written: str, day: date | None = None) -> int:
        """An instant as it is written, on that day where it names none."""
        return self.passed(self._facts.instant(written, day))

    def passed(self, instant: datetime) -> int:
        """How long after the midnight before everything."""
        return int((instant.astimezone(UTC) - self._begins.astimezone(UTC)).total_seconds())


def planned_heat(heat: HeatOut, days: Days) -> PlannedHeat:
    """A heat with a start time, as the planner knows it."""
    lanes = {lane.lane: lane.affiliation for lane in heat.lanes}
    starts_s = days.seconds(heat.scheduled or "")
    of = (heat.event_name, heat.round, heat.number, heat.relay)
    return PlannedHeat(heat.id, *of, starts_s, lanes)


def hours_of(wish: PersonIn, days: Days) -> Iterator[Span]:
    """When somebody is there, where hours are told: on each of the days, or on those they name."""
    for one in wish.hours:
        yield from _spans(one, days)


def barred_to(wish: PersonIn) -> tuple[Barred, ...]:
    """The positions that somebody may not take."""
    return tuple(Barred(one.take_over, one.edge, one.side) for one in wish.may_not)


def _spans(hours: HoursIn, days: Days) -> Iterator[Span]:
    if dated := [bound for bound in (hours.begins, hours.ends) if bound and "T" in bound]:
        # An open end reaches past the programme where the other one lies outside it: whoever is
        # never there is planned as such, so that a pin for them is told.
        day = datetime.fromisoformat(dated[0]).date()
        first, last = min(days.first, day - timedelta(1)), max(days.all[-1], day)
        begins = days.seconds(hours.begins or f"{first}T00:00")
        ends = days.seconds(hours.ends) if hours.ends else _end_of(last, days)
        if begins < ends:
            yield Span(begins, ends)
        return
    for day in days.all:
        begins = days.seconds(hours.begins or "00:00", day)
        ends = _end_of(day, days) if hours.ends in OPEN_ENDS else days.seconds(hours.ends, day)
        if begins < ends:  # not so where the clocks skip these hours
            yield Span(begins, ends)


def _end_of(day: date, days: Days) -> int:
    return days.passed(days.midnight(day + timedelta(1)))


def lap_of(facts: MeetFacts) -> Track:
    """The meet's track; the usual one where the measures make no lap."""
    return Track() if track_note(facts.track) else track_of(facts.track)

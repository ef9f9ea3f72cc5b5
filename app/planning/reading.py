"""From the files of a meet to what a crew is planned from; everything that is wrong is told by row.

A programme is a start list with the start of every heat. Its times are those of the meet's own
clock, as they are written: with dates, or all of them without.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from app.planning.facts import (
    MINUTE_S,
    Assignment,
    Barred,
    Person,
    PlannedHeat,
    PostShape,
    Settings,
    Span,
    Template,
)
from app.planning.spells import at_once, heats_at_once
from app.sheets.crew_template import TemplateRow
from app.sheets.made_plan import PlanRow
from app.sheets.people_list import OFFSET, OPEN_ENDS, PersonRow
from app.sheets.problems import Problem
from app.sheets.start_list import HeatRows
from app.visible import likeness

DAY_S = 24 * 60 * MINUTE_S
UMPIRES = "umpire"


class FileRefused(Exception):
    """A file with problems; none of it is taken."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("; ".join(map(in_words, problems)))
        self.problems = tuple(problems)


def in_words(problem: Problem) -> str:
    """A problem with its place, as a line."""
    place = [f"row {problem.row}" if problem.row else "", problem.column or ""]
    return ": ".join(filter(None, [", ".join(filter(None, place)), problem.problem]))


@dataclass(frozen=True, slots=True)
class Programme:
    """The heats in the order of time, and its first day where the list says dates."""

    heats: tuple[PlannedHeat, ...]
    first_day: date | None

    def seconds(self, written: str) -> int:
        """An instant as it is written, in seconds after midnight of the first day."""
        return _seconds(written, self.first_day)

    def meant_by(self, written: str) -> tuple[int, ...]:
        """The instants that can be meant. A time alone, where the programme has dates, is of each
        of its days. Raises ValueError for a date where it has none, and for an offset.
        """
        if OFFSET.search(written):
            raise ValueError("the times of a programme are those of the meet's own clock")
        if self.first_day is None or "T" in written:
            return (self.seconds(written),)
        clock_s = _seconds(written, None)
        return tuple(day * DAY_S + clock_s for day in self.days())

    def starts(self) -> frozenset[int]:
        """When a heat starts."""
        return frozenset(heat.starts_s for heat in self.heats)

    def written(self, instant_s: int) -> str:
        """The other way, to the second where there are any."""
        day, rest = divmod(instant_s, DAY_S)
        clock = time(rest // 3600, rest // 60 % 60, rest % 60)
        told = clock.isoformat("seconds" if clock.second else "minutes")
        if self.first_day is None:
            return told
        return f"{date.fromordinal(self.first_day.toordinal() + day)} {told}"

    def days(self) -> tuple[int, ...]:
        """The days on which heats are run, counted from the first. Those alone: a date that was
        typed wrongly may lie a century off.
        """
        return tuple(sorted({heat.starts_s // DAY_S for heat in self.heats}))


def programme_of(heats: Sequence[HeatRows], settings: Settings) -> Programme:
    """Raises FileRefused for a heat without its start, dates on some only, two heats at once."""
    problems = [
        _problem(one, f"{label(one)} has no start time. The crew is planned by the clock: add it.")
        for one in heats
        if one.scheduled is None
    ]
    problems += [
        _problem(one, "The crew is planned by the meet's own clock: write times without an offset.")
        for one in heats
        if one.scheduled and OFFSET.search(one.scheduled)
    ]
    dated = [one for one in heats if one.scheduled and "T" in one.scheduled]
    if dated and len(dated) < len(heats):
        odd = next(one for one in heats if one not in dated)
        problems.append(_problem(odd, "Some heats have a date, some have none. Write all alike."))
    if problems:
        raise FileRefused(problems)
    days = [_moment(one.scheduled or "").date() for one in dated]
    first_day = min(days, default=None)
    made = [_heat(one, _seconds(one.scheduled or "", first_day)) for one in heats]
    _insist_one_at_a_time(heats, made, settings)
    return Programme(tuple(sorted(made, key=lambda heat: heat.starts_s)), first_day)


def label(heat: HeatRows) -> str:
    """The heat as people say it."""
    return f"{heat.event}, {heat.round}, heat {heat.heat}"


def people_of(rows: Sequence[PersonRow], programme: Programme) -> tuple[Person, ...]:
    """Everybody whose roles have them at the zones. Raises FileRefused for a date in the hours of a
    programme without dates.
    """
    if programme.first_day is None:
        dated = [one for one in rows if "T" in (one.begins or "") or "T" in (one.ends or "")]
        why = "The programme has no dates, so these hours can have none. Write times of the day."
        if dated:
            raise FileRefused([Problem(one.row, "from", why) for one in dated])
    found = tuple(_person(one, programme) for one in rows if UMPIRES in one.roles)
    if not found:
        why = f"Nobody in this list has the role {UMPIRES}: there is no crew to be planned."
        raise FileRefused([Problem(None, "roles", why)])
    return found


def template_of(rows: Sequence[TemplateRow], source: str) -> Template:
    """The template as the file has it."""
    posts: dict[int, tuple[PostShape, ...]] = {}
    for one in rows:
        shape = PostShape(one.edge, one.side, one.lanes)
        posts[one.people] = (*posts.get(one.people, ()), shape)
    return Template(posts, source)


def assignments_of(
    rows: Sequence[PlanRow], programme: Programme, people: Mapping[str, Person]
) -> tuple[tuple[Assignment, ...], tuple[str, ...]]:
    """A plan that was written, and its heats that the programme has no more. Raises FileRefused for
    a stranger, and where it has none of its heats.
    """
    heats = {_said(one.event, one.round, one.number): one for one in programme.heats}
    strangers = [
        Problem(one.row, "official", f"{one.official} is not in the list of people.")
        for one in rows
        if one.official not in people
    ]
    if strangers:
        raise FileRefused(strangers)
    found = []
    gone: dict[str, None] = {}
    for one in rows:
        theirs = [heats.get(_said(one.event, one.round, number)) for number in one.heats]
        run = [heat for heat in theirs if heat is not None]
        for number, heat in zip(one.heats, theirs, strict=True):
            if heat is None:
                gone[f"{one.event}, {one.round}, heat {number}"] = None
        if run:
            ids = tuple(heat.id for heat in run)
            post = (one.take_overs, one.edge, one.lanes, one.side)
            found.append(Assignment(people[one.official].id, ids, run[0].relay, *post))
    if rows and not found:
        why = "The programme has no heat of this plan: it is one of another programme."
        raise FileRefused([Problem(rows[0].row, "event", why)])
    return tuple(found), tuple(gone)


def _said(event: str, of_event: str, number: int) -> tuple[str, str, int]:
    return likeness(event), likeness(of_event), number


def _person(one: PersonRow, programme: Programme) -> Person:
    return Person(
        id=one.name,
        name=one.name,
        affiliation=one.affiliation,
        experience=one.experience,
        hours=_hours(one, programme),
        barred=tuple(Barred(each.take_over, each.edge, each.side) for each in one.barred),
    )


def _hours(one: PersonRow, programme: Programme) -> tuple[Span, ...]:
    """Hours without a date are those of each day."""
    if not one.begins and not one.ends:
        return ()
    if any("T" in (bound or "") for bound in (one.begins, one.ends)):
        return (_dated_hours(one, programme),)
    begins_s = _seconds(one.begins or "00:00", None)
    ends_s = DAY_S if one.ends in OPEN_ENDS else _seconds(one.ends, None)
    return tuple(Span(day * DAY_S + begins_s, day * DAY_S + ends_s) for day in programme.days())


def _dated_hours(one: PersonRow, programme: Programme) -> Span:
    """An open side reaches as far as the programme does, and never past the other."""
    first_s, last_s = 0, (max(programme.days(), default=0) + 1) * DAY_S
    if one.begins:
        first_s = programme.seconds(one.begins)
        last_s = max(last_s, first_s + 1)
    if one.ends:
        last_s = programme.seconds(one.ends)
    return Span(first_s if one.begins else min(first_s, last_s - 1), last_s)


def _heat(one: HeatRows, starts_s: int) -> PlannedHeat:
    lanes = {entry.lane: entry.affiliation for entry in one.entries}
    return PlannedHeat(label(one), one.event, one.round, one.heat, one.relay, starts_s, lanes)


def _insist_one_at_a_time(
    rows: Sequence[HeatRows], heats: Sequence[PlannedHeat], settings: Settings
) -> None:
    row_of = {heat.id: row for heat, row in zip(heats, rows, strict=True)}
    problems = [
        _problem(row_of[pair[1].id], f"{at_once(pair, settings)} Give it a later start.")
        for pair in heats_at_once(heats, settings)
    ]
    if problems:
        raise FileRefused(problems)


def _problem(heat: HeatRows, why: str) -> Problem:
    return Problem(heat.entries[0].row if heat.entries else None, "scheduled", why)


def _moment(written: str) -> datetime:
    return datetime.fromisoformat(written)


def _seconds(written: str, first_day: date | None) -> int:
    if first_day is None:
        clock = time.fromisoformat(written)
        return clock.hour * 3600 + clock.minute * 60 + clock.second
    moment = _moment(written)
    days = moment.date().toordinal() - first_day.toordinal()
    return days * DAY_S + moment.hour * 3600 + moment.minute * 60 + moment.second

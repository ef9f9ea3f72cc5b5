"""Reading windows: those that run, those without an end, and those that have closed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, and_, bindparam, func, or_, select

from app.clock import in_zone, rfc3339
from app.cursors import cursor, no_place, split_cursor
from app.ids import AnnouncementId, HeatId, MeetId
from app.meets.queries import meet_row
from app.meets.tables import events, heats, teams
from app.results.appealable import (
    IS_SETTLED,
    IS_TO_BE_TOLD_ANEW,
    JURY_HAS_DECIDED_ON_IT,
    OPENED_ELSEWHERE,
    OPENS_ANEW,
    REPLACED_BY,
)
from app.results.called_off import void_windows
from app.results.tables import announcements, corrections, time_corrections, windows
from app.results.wire import WindowOut, WindowsOut
from app.rules.windows import Remedy, Window, is_open
from app.store.rows import AnyRow

WindowSelect = Select[*tuple[Any, ...]]

WINDOWS_A_PAGE = 100

_later = announcements.alias("later")
_STANDS_INSTEAD = (
    select(func.max(_later.c.number))
    .where(_later.c.heat_id == announcements.c.heat_id, _later.c.number > announcements.c.number)
    .scalar_subquery()
)
_ANNOUNCED_OTHERWISE = (
    select(func.count())
    .where(time_corrections.c.announcement_id == windows.c.announcement_id)
    .scalar_subquery()
)
_COUNTED_OTHERWISE = (
    select(func.count())
    .where(
        or_(
            corrections.c.subject_id == windows.c.decision_id,
            and_(windows.c.counts_from.is_not(None), corrections.c.subject_id == windows.c.meet_id),
        )
    )
    .scalar_subquery()
)
_WINDOW_COLUMNS = (
    select(
        windows,
        REPLACED_BY.label("replaced_by"),
        IS_SETTLED.label("is_settled"),
        IS_TO_BE_TOLD_ANEW.label("is_to_be_told_anew"),
        _STANDS_INSTEAD.label("superseded_by"),
        (_ANNOUNCED_OTHERWISE + _COUNTED_OTHERWISE).label("time_corrections"),
        teams.c.name.label("team_name"),
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
    )
    .join(announcements, announcements.c.id == windows.c.announcement_id)
    .join(heats, heats.c.id == windows.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == windows.c.team_id)
)
_IN_HEATS = (
    select(windows)
    .where(
        windows.c.heat_id.in_(bindparam("heats", expanding=True)),
        REPLACED_BY.is_(None),
        ~IS_SETTLED,
    )
    .order_by(windows.c.opened_at, windows.c.id)
)
_CLOSING = select(func.count(), func.min(windows.c.closes_at)).where(
    windows.c.closes_at >= bindparam("after"),
    windows.c.closes_at <= bindparam("until"),
    REPLACED_BY.is_(None),
    ~IS_SETTLED,
)
_OF_MEET = _WINDOW_COLUMNS.where(windows.c.meet_id == bindparam("meet"))
_OF_HEAT = _OF_MEET.where(windows.c.heat_id == bindparam("heat")).order_by(
    windows.c.opened_at, windows.c.id
)

_BY_ANNOUNCEMENT = _OF_MEET.where(
    windows.c.announcement_id.in_(bindparam("announcements", expanding=True)),
    windows.c.decision_id.is_(None),
).order_by(windows.c.opened_at, windows.c.id)


def _stretch(
    which: ColumnElement[bool], instant: Column[datetime], *, latest_first: bool = False
) -> tuple[WindowSelect, WindowSelect]:
    """One stretch of the list of windows: the statement from its start, and from a place in it."""
    order = instant.desc() if latest_first else instant
    start = _OF_MEET.where(which).order_by(order, windows.c.id).limit(bindparam("most"))
    at = bindparam("at", type_=instant.type)
    further = instant < at if latest_first else instant > at
    return start, start.where(or_(further, and_(instant == at, windows.c.id > bindparam("window"))))


_STRETCHES = (
    _stretch(windows.c.closes_at >= bindparam("now"), windows.c.closes_at),
    _stretch(windows.c.closes_at.is_(None), windows.c.opened_at),
    _stretch(windows.c.closes_at < bindparam("now"), windows.c.closes_at, latest_first=True),
)
"""Those that run, soonest to close first; those that never close; those that have closed."""


def windows_of(
    conn: Connection, meet_id: MeetId, now: datetime, after: str | None = None
) -> WindowsOut:
    """A page of the meet's windows: running ones soonest first, endless ones, then the closed.

    The place in the list holds the instant of its first page too. So all pages are of one list,
    and a window that closes between two of them is neither left out nor shown twice.
    """
    meet = meet_row(conn, meet_id)
    place = Place(now) if after is None else Place.read(after)
    rows = _window_rows(conn, meet_id, place)
    page = rows[:WINDOWS_A_PAGE]
    return WindowsOut(
        meet=meet.name,
        time_zone=meet.time_zone,
        now=now,
        windows=_windows_out(conn, [row for _stretch, row in page], meet.time_zone, now),
        next=_place_after(*page[-1], place.now) if len(rows) > WINDOWS_A_PAGE else None,
    )


def all_windows(conn: Connection, meet_id: MeetId, now: datetime) -> WindowsOut:
    """All windows of the meet in one document, in the order of the pages."""
    found = windows_of(conn, meet_id, now)
    pages = [found]
    while pages[-1].next is not None:
        pages.append(windows_of(conn, meet_id, now, pages[-1].next))
    together = [window for page in pages for window in page.windows]
    return found.model_copy(update={"windows": together, "next": None})


def open_windows(conn: Connection, meet_id: MeetId, now: datetime) -> list[WindowOut]:
    """The windows in which something can be lodged now: soonest to close first, endless ones last.

    Of the list of all windows no page is read that holds nothing but closed ones.
    """
    page = windows_of(conn, meet_id, now)
    found = list(page.windows)
    while page.next is not None and not _has_closed(page.windows[-1], now):
        page = windows_of(conn, meet_id, now, page.next)
        found += page.windows
    return [one for one in found if one.state == "open"]


@dataclass(frozen=True, slots=True)
class Closing:
    """How many windows close in a stretch of time, and when the first of them does."""

    count: int
    first: datetime | None


def windows_that_close(conn: Connection, after: datetime, until: datetime) -> Closing:
    """Those of all meets in which something can be lodged until they close."""
    count, first = conn.execute(_CLOSING, {"after": after, "until": until}).one()
    return Closing(count, first)


def _has_closed(window: WindowOut, now: datetime) -> bool:
    return window.closes_at is not None and window.closes_at < now


def windows_of_heat(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, now: datetime
) -> list[WindowOut]:
    """The windows that touch a heat's result, in the order in which they opened."""
    zone = meet_row(conn, meet_id).time_zone
    rows = conn.execute(_OF_HEAT, {"meet": meet_id, "heat": heat_id}).all()
    return _windows_out(conn, rows, zone, now)


def windows_by_announcement(
    conn: Connection, meet_id: MeetId, announced: Iterable[AnnouncementId], now: datetime
) -> Mapping[AnnouncementId, list[WindowOut]]:
    """The windows that announcements opened, but for those that count from an advice."""
    zone = meet_row(conn, meet_id).time_zone
    asked = {"meet": meet_id, "announcements": list(announced)}
    found: dict[AnnouncementId, list[WindowOut]] = {}
    rows = conn.execute(_BY_ANNOUNCEMENT, asked).all()
    for window in _windows_out(conn, rows, zone, now):
        found.setdefault(window.announcement, []).append(window)
    return found


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the list of windows as it was at `now`: after which window of which stretch."""

    now: datetime
    stretch: int = 0
    at: datetime | None = None
    window: str = ""

    @classmethod
    def read(cls, text: str) -> Place:
        """Malformed for anything that no page of ours has handed out."""
        now, _, rest = text.partition("~")
        stretch, _, last = rest.partition("~")
        at, window = split_cursor(last, "after")
        first, _ = split_cursor(f"{now}~{window}", "after")
        if stretch not in {"0", "1", "2"}:
            raise no_place("after")
        return cls(first, int(stretch), at, window)


def _window_rows(conn: Connection, meet_id: MeetId, place: Place) -> list[tuple[int, AnyRow]]:
    """Up to one more than a page from a place on, each with the number of its stretch."""
    found: list[tuple[int, AnyRow]] = []
    for number in range(place.stretch, len(_STRETCHES)):
        from_start, from_place = _STRETCHES[number]
        is_within = number == place.stretch and place.at is not None
        values = {
            "meet": meet_id,
            "now": place.now,
            "most": WINDOWS_A_PAGE + 1 - len(found),
            "at": place.at,
            "window": place.window,
        }
        rows = conn.execute(from_place if is_within else from_start, values)
        found += [(number, row) for row in rows]
    return found


def _place_after(stretch: int, row: AnyRow, now: datetime) -> str:
    """The place after a row in one word, as `Place.read` takes it."""
    at = row.opened_at if row.closes_at is None else row.closes_at
    return f"{rfc3339(now)}~{stretch}~{cursor(at, row.id)}"


def windows_in(
    conn: Connection, heat_ids: Iterable[HeatId], decided_on: Collection[HeatId]
) -> Mapping[HeatId, list[Window]]:
    """All windows that touch heats, by heat, in the order of opening; not one for an appeal against
    what another decision has replaced, or the jury has settled. `decided_on`: those of the heats
    on which anything was decided, and can be appealed by teams of another heat in time of its own.
    """
    found: dict[HeatId, list[Window]] = {}
    for row in conn.execute(_IN_HEATS, {"heats": list(heat_ids)}):
        found.setdefault(row.heat_id, []).append(_window(row))
    if decided_on:
        for row in conn.execute(OPENED_ELSEWHERE, {"heats": list(decided_on)}):
            found.setdefault(row.decided_on, []).append(_window(row))
    return found


def _window(row: AnyRow) -> Window:
    return Window(
        row.kind,
        row.opened_at,
        row.closes_at,
        row.minutes,
        row.rule,
        row.origin,
        Remedy(row.remedy),
        row.counts_from,
    )


def _windows_out(
    conn: Connection, rows: Sequence[AnyRow], zone: str, now: datetime
) -> list[WindowOut]:
    void = void_windows(conn, {row.heat_id for row in rows})
    return [_window_out(row, zone, now, _does_not_count(row, void)) for row in rows]


def _does_not_count(row: AnyRow, void: Mapping[HeatId, str]) -> str:
    if row.replaced_by is not None:
        return "The decision that this window is about was replaced: the later one can be appealed."
    if row.is_settled and row.is_to_be_told_anew:
        return OPENS_ANEW
    if row.is_settled:
        return JURY_HAS_DECIDED_ON_IT
    return void.get(row.heat_id, "")


def _window_out(row: AnyRow, zone: str, now: datetime, void: str) -> WindowOut:
    window = _window(row)
    to_come = now < row.opened_at
    state = "to come" if to_come else "open" if is_open(window, now) else "closed"
    return WindowOut(
        id=row.id,
        heat=row.heat_id,
        announcement=row.announcement_id,
        decision=row.decision_id,
        team=row.team_id,
        team_name=row.team_name,
        subject=f"{row.event_name}, {row.round}, heat {row.heat_number}",
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        kind=row.kind,
        remedy=window.remedy,
        opened_by=row.opened_by,
        opened_at=row.opened_at,
        opened_at_local=in_zone(row.opened_at, zone),
        closes_at=row.closes_at,
        closes_at_local=in_zone(row.closes_at, zone) if row.closes_at else None,
        minutes=row.minutes,
        counts_from=row.counts_from,
        rule=row.rule,
        origin=row.origin,
        state="void" if void else state,
        time_corrections=row.time_corrections,
        # An advice is not taken back by an announcement.
        superseded_by=None if row.decision_id is not None else row.superseded_by,
        does_not_count=void,
    )

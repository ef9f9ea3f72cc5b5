"""Reading results, announcements and windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Select, and_, bindparam, func, or_, select

from app.clock import in_zone, rfc3339
from app.cursors import cursor, no_place, split_cursor
from app.ids import AnnouncementId, HeatId, MeetId
from app.meets.queries import PRESENT_RUN, heat, meet_row
from app.meets.states import HeatState
from app.meets.tables import events, heats
from app.meets.wire import HeatOut
from app.record.canonical import canonical
from app.refusals import NotFound
from app.reports.queries import accounts_awaited, case_row, heat_posts, open_cases_of_heat
from app.results.annotating import FinishLine, annotate
from app.results.tables import announcements, results, windows
from app.results.wire import (
    AnnouncedOut,
    AnnouncementLine,
    AnnouncementOut,
    AnnouncementsOut,
    BlockersOut,
    LaterAnnouncement,
    ResultLineOut,
    ResultOut,
    WindowOut,
    WindowsOut,
)
from app.rules.windows import Remedy, Window, is_open
from app.rulings.queries import in_force_in_heat, noted_teams, ruling_out, shaken_in_heat
from app.rulings.tables import rulings
from app.store.rows import AnyRow

WindowSelect = Select[*tuple[Any, ...]]

PAGE = 50
WINDOWS_A_PAGE = 100

_RESULT = select(results).where(
    results.c.meet_id == bindparam("meet"), results.c.heat_id == bindparam("heat")
)
_ANNOUNCEMENT = select(announcements).where(
    announcements.c.meet_id == bindparam("meet"), announcements.c.id == bindparam("announcement")
)
_LAST = (
    select(announcements)
    .where(announcements.c.heat_id == bindparam("heat"))
    .order_by(announcements.c.number.desc())
    .limit(1)
)
_later = announcements.alias("later")
# Counted, not timed: clocks differ between machines, and are set.
_TOUCHED_SINCE = or_(
    select(func.count())
    .select_from(rulings)
    .where(rulings.c.heat_id == announcements.c.heat_id)
    .scalar_subquery()
    != announcements.c.rulings_seen,
    select(results.c.version).where(results.c.heat_id == announcements.c.heat_id).scalar_subquery()
    != announcements.c.list_seen,
    announcements.c.run_seen != PRESENT_RUN,
)
_LIST = (
    select(
        announcements.c.id,
        announcements.c.heat_id,
        announcements.c.number,
        announcements.c.announced_at,
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
        ~select(_later.c.id)
        .where(
            _later.c.heat_id == announcements.c.heat_id,
            _later.c.number == announcements.c.number + 1,
        )
        .exists()
        .label("is_latest"),
        _TOUCHED_SINCE.label("is_touched"),
    )
    .join(heats, heats.c.id == announcements.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.announced_at.desc(), announcements.c.id.desc())
    .limit(PAGE + 1)
)
_LIST_BEFORE = _LIST.where(
    or_(
        announcements.c.announced_at < bindparam("at"),
        and_(
            announcements.c.announced_at == bindparam("at"),
            announcements.c.id < bindparam("announcement"),
        ),
    )
)
_WINDOW_COLUMNS = (
    select(
        windows,
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
    )
    .join(heats, heats.c.id == windows.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
)
_OF_MEET = _WINDOW_COLUMNS.where(windows.c.meet_id == bindparam("meet"))


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


def result_row(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> AnyRow | None:
    """A heat's finish list as stored, None where none was loaded."""
    return conn.execute(_RESULT, {"meet": meet_id, "heat": heat_id}).one_or_none()


def result(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> ResultOut:
    """The heat's annotated result as it would be announced now.

    Its version names what an announcement would say, the lines and what stands in the way: an
    announcement says by it exactly what was looked at.
    """
    facts = heat(conn, meet_id, heat_id)
    row = result_row(conn, meet_id, heat_id)
    if row is None:
        raise NotFound("No finish list has been loaded for this heat yet.")
    listed = {(lane.lane, lane.team) for lane in facts.lanes}
    finish = [FinishLine.from_stored(stored) for stored in row.rows]
    is_outdated = row.run != facts.present_run or listed != {
        (line.lane, line.team) for line in finish
    }
    # No places from another race, or where teams are missing: they would be invented.
    lines = (
        []
        if is_outdated
        else annotate(
            facts.lanes, finish, in_force_in_heat(conn, heat_id), noted_teams(conn, heat_id)
        )
    )
    in_the_way, in_words = _in_the_way(conn, meet_id, facts)
    last = last_announcement(conn, heat_id)
    return ResultOut(
        heat=heat_id,
        event_name=facts.event_name,
        round=facts.round,
        number=facts.number,
        lines=lines,
        is_list_outdated=is_outdated,
        blockers=in_the_way,
        in_the_way=in_words,
        announced=_announced(last, lines),
        version=_version_of(lines, in_the_way, last, meet_row(conn, meet_id).version),
    )


def _version_of(
    lines: Sequence[ResultLineOut], in_the_way: BlockersOut, last: AnyRow | None, meet_version: int
) -> int:
    """What an announcement would say: the meet's settings make its windows, the last its number."""
    seen = {
        "announced": last.number if last else 0,
        "blockers": in_the_way.model_dump(mode="json"),
        "lines": [line.model_dump(mode="json") for line in lines],
        "meet": meet_version,
    }
    return 1 + int.from_bytes(sha256(canonical(seen)).digest()[:4])


def _announced(last: AnyRow | None, lines: list[ResultLineOut]) -> AnnouncedOut | None:
    if last is None:
        return None
    said = AnnouncementOut.model_validate(last.snapshot)
    return AnnouncedOut(
        id=said.id,
        number=said.number,
        announced_at=said.announced_at,
        holds=_what_counts(said.lines) == _what_counts(lines),
    )


def _what_counts(lines: Sequence[ResultLineOut]) -> list[tuple[object, ...]]:
    """What decides a result: not how a name is written."""
    return [
        (line.team, line.lane, line.place, line.status, line.time, line.annotation)
        for line in lines
    ]


def _in_the_way(conn: Connection, meet_id: MeetId, facts: HeatOut) -> tuple[BlockersOut, list[str]]:
    """What stands in the way of announcing a heat, and the same in words.

    The words say whom the desk has to ask, and about which team; they are never announced.
    """
    silent = [line for line in heat_posts(conn, meet_id, facts.id).posts if line.flag is None]
    accounts = accounts_awaited(conn, facts.id)
    cases = [case_row(conn, meet_id, case) for case in open_cases_of_heat(conn, facts.id)]
    shaken = [ruling_out(conn, meet_id, one) for one in shaken_in_heat(conn, meet_id, facts.id)]
    found = BlockersOut(
        silent_posts=[line.post for line in silent],
        open_cases=[case.id for case in cases],
        shaken_rulings=[ruling.id for ruling in shaken],
        awaited_accounts=[account.id for account in accounts],
        not_started=facts.state is HeatState.TO_COME,
    )
    teams = {lane.lane: lane.name for lane in facts.lanes}

    def place(lane: int | None) -> str:
        return _place(lane, None if lane is None else teams.get(lane))

    words = [
        *(["The heat has not been started."] if found.not_started else []),
        *(f"Silent: {line.words} ({line.official_name})." for line in silent),
        *(f"Account to come: {place(one.lane)} ({one.official_name})." for one in accounts),
        *(f"Open case {case.number}: {_place(case.lane, case.team_name)}." for case in cases),
        *(f"Ruling to reconsider: {place(ruling.lane)}." for ruling in shaken),
    ]
    return found, words


def _place(lane: int | None, team: str | None) -> str:
    where = "lane not known" if lane is None else f"lane {lane}"
    return f"{where}, {team}" if team else where


def last_announcement(conn: Connection, heat_id: HeatId) -> AnyRow | None:
    """The announcement of a heat that stands, None before the first."""
    return conn.execute(_LAST, {"heat": heat_id}).one_or_none()


def announcement(
    conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId
) -> AnnouncementOut:
    """One announcement as it was made, and the one that stands if that is a later one.

    NotFound for an id that is not of this meet.
    """
    row = conn.execute(
        _ANNOUNCEMENT, {"meet": meet_id, "announcement": announcement_id}
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such announcement at this meet.")
    made = AnnouncementOut.model_validate(row.snapshot)
    return made.model_copy(update={"superseded_by": _superseded_by(conn, made)})


def _superseded_by(conn: Connection, made: AnnouncementOut) -> LaterAnnouncement | None:
    stands = last_announcement(conn, made.heat)
    if stands is None or stands.number == made.number:
        return None
    return LaterAnnouncement(
        id=stands.id,
        number=stands.number,
        announced_at=stands.announced_at,
        announced_at_local=in_zone(stands.announced_at, made.time_zone),
    )


def announcements_page(conn: Connection, meet_id: MeetId, before: str | None) -> AnnouncementsOut:
    """Announcements, newest first, fifty a page."""
    zone = meet_row(conn, meet_id).time_zone
    if before is None:
        rows = conn.execute(_LIST, {"meet": meet_id}).all()
    else:
        at, ident = split_cursor(before, "before")
        rows = conn.execute(_LIST_BEFORE, {"meet": meet_id, "at": at, "announcement": ident}).all()
    page = rows[:PAGE]
    more = len(rows) > PAGE
    return AnnouncementsOut(
        announcements=[
            AnnouncementLine(
                id=row.id,
                heat=row.heat_id,
                number=row.number,
                event_name=row.event_name,
                round=row.round,
                heat_number=row.heat_number,
                announced_at=row.announced_at,
                announced_at_local=in_zone(row.announced_at, zone),
                is_latest=row.is_latest,
                holds=_holds(conn, meet_id, row),
            )
            for row in page
        ],
        next=cursor(page[-1].announced_at, page[-1].id) if more else None,
    )


def _holds(conn: Connection, meet_id: MeetId, row: AnyRow) -> bool:
    """Whether an announcement still says what the result is; worked out only where it may not."""
    if not row.is_latest or not row.is_touched:
        return bool(row.is_latest)
    announced = result(conn, meet_id, HeatId(row.heat_id)).announced
    return announced is not None and announced.holds


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
        windows=[_window_out(row, meet.time_zone, now) for _stretch, row in page],
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


def _window_out(row: AnyRow, zone: str, now: datetime) -> WindowOut:
    window = Window(
        row.kind,
        row.opened_at,
        row.closes_at,
        row.minutes,
        row.rule,
        row.origin,
        Remedy(row.remedy),
    )
    to_come = now < row.opened_at
    return WindowOut(
        id=row.id,
        heat=row.heat_id,
        announcement=row.announcement_id,
        subject=f"{row.event_name}, {row.round}, heat {row.heat_number}",
        kind=row.kind,
        remedy=window.remedy,
        opened_by=row.opened_by,
        opened_at=row.opened_at,
        opened_at_local=in_zone(row.opened_at, zone),
        closes_at=row.closes_at,
        closes_at_local=in_zone(row.closes_at, zone) if row.closes_at else None,
        minutes=row.minutes,
        rule=row.rule,
        origin=row.origin,
        state="to come" if to_come else "open" if is_open(window, now) else "closed",
    )

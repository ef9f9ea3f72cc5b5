"""Reading what an umpire's phone shows, in a dozen short statements whatever the meet's size."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from functools import cache

from sqlalchemy import Connection, and_, bindparam, false, func, or_, select, true

from app.access.queries import Caller
from app.crew.queries import Post, posts_of
from app.ids import HeatId, MeetId
from app.meets.heat_now import NowAndNext
from app.meets.pointing import now_and_next
from app.meets.queries import IS_NOT_CALLED_OFF, meet_row
from app.meets.states import HeatState
from app.meets.tables import events, heats, lanes, teams
from app.reports.states import ReportState
from app.reports.tables import calls, reports
from app.rules.book import Book, book_on, load_book
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rules.relay import TAKE_OVERS, Relay
from app.rules.seen_from import seen_from
from app.store.prepared import Prepared, Values
from app.store.rows import AnyRow
from app.watching.wire import (
    OwnCallOut,
    OwnReportOut,
    QuestionOut,
    SightOut,
    WatchedHeatOut,
    WatchedLaneOut,
    WatchedMeetOut,
    WatchedPostOut,
    WatcherOut,
    WatchOut,
    ZoneOut,
)

ALL_HEATS = 60
BEFORE, AHEAD = 10, 50
MOST_OF_ONE = 500
MOST_REHEARSALS = 10

_COUNTS = (
    heats.c.meet_id == bindparam("meet"),
    heats.c.state != HeatState.NOT_HELD.value,
    IS_NOT_CALLED_OFF,
)
_HEATS = (
    select(
        heats.c.id,
        heats.c.round,
        heats.c.number,
        heats.c.scheduled,
        heats.c.position,
        heats.c.state,
        heats.c.run,
        heats.c.rehearsal,
        events.c.name.label("event_name"),
        events.c.relay,
    )
    .join(events, events.c.id == heats.c.event_id)
    .where(*_COUNTS)
)
_OF_PROGRAMME = _HEATS.where(heats.c.rehearsal == false())
_COUNT = Prepared(
    select(func.count().label("heats_"))
    .select_from(heats)
    .where(*_COUNTS, heats.c.rehearsal == false())
)
_FROM = Prepared(
    _OF_PROGRAMME.where(heats.c.position >= bindparam("at"))
    .order_by(heats.c.position)
    .limit(ALL_HEATS)
)
_BEFORE = Prepared(
    _OF_PROGRAMME.where(heats.c.position < bindparam("at"))
    .order_by(heats.c.position.desc())
    .limit(BEFORE)
)
_REHEARSALS = Prepared(
    _HEATS.where(heats.c.rehearsal == true(), heats.c.state != HeatState.ENDED.value)
    .order_by(heats.c.position)
    .limit(MOST_REHEARSALS)
)
_PLACE = Prepared(
    select(heats.c.position, heats.c.rehearsal).where(heats.c.id == bindparam("heat"))
)
_END = Prepared(
    select((func.coalesce(func.max(heats.c.position), 0) + 1).label("position")).where(
        heats.c.meet_id == bindparam("meet")
    )
)
# The heats shown again, for what belongs to them: a stretch of the programme, and the rehearsals.
# Asked by their place, not by a list of their names, PostgreSQL goes to their rows; for a list it
# read the lanes and teams of all meets.
_SHOWN = (
    *_COUNTS,
    or_(
        and_(
            heats.c.rehearsal == false(),
            heats.c.position.between(bindparam("first"), bindparam("last")),
        ),
        and_(heats.c.rehearsal == true(), heats.c.state != HeatState.ENDED.value),
    ),
)
_LANES = Prepared(
    select(
        lanes.c.heat_id,
        lanes.c.lane,
        lanes.c.team_id,
        lanes.c.bib,
        teams.c.name,
        teams.c.affiliation,
    )
    .select_from(heats)
    .join(lanes, lanes.c.heat_id == heats.c.id)
    .join(teams, teams.c.id == lanes.c.team_id)
    .where(*_SHOWN)
    .order_by(lanes.c.heat_id, lanes.c.lane)
)
_RELAYS = Prepared(
    select(events.c.relay)
    .where(events.c.meet_id == bindparam("meet"))
    .distinct()
    .order_by(events.c.relay)
)
_CALLS = Prepared(
    select(
        calls.c.id,
        calls.c.heat_id,
        calls.c.post_id,
        calls.c.flag,
        calls.c.lane,
        calls.c.report_id,
        calls.c.received_at,
    )
    .join(heats, heats.c.id == calls.c.heat_id)
    .where(calls.c.official_id == bindparam("official"), *_SHOWN)
    .order_by(calls.c.received_at.desc(), calls.c.id.desc())
    .limit(MOST_OF_ONE)
)
_REPORTS = Prepared(
    select(
        reports.c.id,
        reports.c.heat_id,
        reports.c.post_id,
        reports.c.lane,
        reports.c.state,
        reports.c.raised_at,
        reports.c.received_at,
        reports.c.remark,
        reports.c.version,
    )
    .join(heats, heats.c.id == reports.c.heat_id)
    .where(
        reports.c.meet_id == bindparam("meet"),
        reports.c.official_id == bindparam("official"),
        *_SHOWN,
    )
    .order_by(reports.c.raised_at.desc(), reports.c.id.desc())
    .limit(MOST_OF_ONE)
)


def watch(conn: Connection, meet_id: MeetId, caller: Caller, now: datetime) -> WatchOut:
    """What the caller's phone shows."""
    meet = meet_row(conn, meet_id)
    book = book_on(meet.edition, meet.lap_m)
    found = now_and_next(conn, meet_id)
    stretch, rows = _heats_around(conn, meet_id, found)
    of_caller = {**stretch, "official": caller.official_id}
    return WatchOut(
        official=WatcherOut(id=caller.official_id, name=caller.name, roles=sorted(caller.roles)),
        meet=_meet(meet),
        posts=[
            _post(one) for one in posts_of(conn, meet_id) if one.official_id == caller.official_id
        ],
        zones=_zones(book, _relays(conn, meet_id)),
        sights=list(_sights(book.key)),
        now=found.now,
        next=found.next,
        heats=_heats(conn, stretch, rows),
        calls=_calls(conn, of_caller),
        reports=_reports(conn, of_caller),
        server_time=now,
    )


def _meet(row: AnyRow) -> WatchedMeetOut:
    return WatchedMeetOut(
        id=row.id,
        name=row.name,
        time_zone=row.time_zone,
        edition=row.edition,
        first_day=row.facts["first_day"],
        last_day=row.facts["last_day"],
    )


def _post(known: Post) -> WatchedPostOut:
    return WatchedPostOut(
        id=known.id,
        take_over=known.take_over,
        edge=known.edge,
        lanes=sorted(known.lanes),
        side=known.side,
        relays=sorted(known.relays),
        heats=sorted(known.heats),
        words=known.words,
    )


def _relays(conn: Connection, meet_id: MeetId) -> list[Relay]:
    return [Relay(row.relay) for row in _RELAYS.all(conn, {"meet": meet_id})]


def _zones(book: Book, relays: Iterable[Relay]) -> list[ZoneOut]:
    measures = [
        (relay, take_over, book.zone(relay, take_over))
        for relay in relays
        for take_over in TAKE_OVERS
    ]
    return [
        ZoneOut(
            relay=relay,
            take_over=take_over,
            length_m=zone.length_m,
            leg_line_m=zone.leg_line_m,
            acceleration_m=zone.acceleration_m,
            rule=zone.rule,
        )
        for relay, take_over, zone in measures
    ]


@cache
def _sights(edition: str) -> tuple[SightOut, ...]:
    book = load_book(edition)
    return tuple(_sight(one, book) for one in Infringement)


def _sight(infringement: Infringement, book: Book) -> SightOut:
    sight = seen_from(infringement)
    return SightOut(
        seen=infringement,
        title=title_of(infringement),
        rule=book.reference(infringement),
        edges=list(sight.edges),
        position=sight.position,
        questions=[QuestionOut(fact=one.fact, words=one.words) for one in sight.questions],
    )


def _heats_around(
    conn: Connection, meet_id: MeetId, found: NowAndNext
) -> tuple[Values, list[AnyRow]]:
    """The heats shown, and the stretch of the programme they are, as `_SHOWN` asks for it."""
    programme = _programme_around(conn, meet_id, found)
    places = [row.position for row in programme] or [0]
    stretch = {"meet": meet_id, "first": min(places), "last": max(places)}
    return stretch, [*programme, *_REHEARSALS.all(conn, {"meet": meet_id})]


def _programme_around(conn: Connection, meet_id: MeetId, found: NowAndNext) -> list[AnyRow]:
    """All heats of a short programme; of a long one those around the heat that is now."""
    where = {"meet": meet_id}
    if _COUNT.first(conn, where).heats_ <= ALL_HEATS:
        return _FROM.all(conn, where | {"at": 0})
    at = where | {"at": _place_now(conn, meet_id, found)}
    before = _BEFORE.all(conn, at)
    return [*reversed(before), *_FROM.all(conn, at)[: AHEAD + 1]]


def _place_now(conn: Connection, meet_id: MeetId, found: NowAndNext) -> int:
    """The place of the heat that is now, or that comes after the rehearsal; else the end."""
    for heat_id in (found.now, found.next):
        place = _PLACE.first(conn, {"heat": heat_id}) if heat_id is not None else None
        if place is not None and not place.rehearsal:
            return int(place.position)
    return int(_END.first(conn, {"meet": meet_id}).position)


def _heats(conn: Connection, stretch: Values, rows: Iterable[AnyRow]) -> list[WatchedHeatOut]:
    drawn: dict[HeatId, list[WatchedLaneOut]] = {}
    for row in _LANES.all(conn, stretch):
        drawn.setdefault(row.heat_id, []).append(
            WatchedLaneOut(
                lane=row.lane,
                team=row.team_id,
                name=row.name,
                affiliation=row.affiliation,
                bib=row.bib,
            )
        )
    return [_heat(row, drawn.get(row.id, [])) for row in rows]


def _heat(row: AnyRow, drawn: list[WatchedLaneOut]) -> WatchedHeatOut:
    return WatchedHeatOut(
        id=row.id,
        event_name=row.event_name,
        relay=Relay(row.relay),
        round=row.round,
        number=row.number,
        scheduled=row.scheduled,
        state=HeatState(row.state),
        run=row.run,
        rehearsal=row.rehearsal,
        lanes=drawn,
    )


def _calls(conn: Connection, of_caller: Values) -> list[OwnCallOut]:
    return [
        OwnCallOut(
            id=row.id,
            heat=row.heat_id,
            post=row.post_id,
            flag=row.flag,
            lane=row.lane,
            report=row.report_id,
            received_at=row.received_at,
        )
        for row in reversed(_CALLS.all(conn, of_caller))
    ]


def _reports(conn: Connection, of_caller: Values) -> list[OwnReportOut]:
    return [
        OwnReportOut(
            id=row.id,
            heat=row.heat_id,
            post=row.post_id,
            lane=row.lane,
            state=row.state,
            raised_at=row.raised_at,
            received_at=row.received_at,
            remark=row.remark if row.state == ReportState.RETURNED else None,
            version=row.version,
        )
        for row in reversed(_REPORTS.all(conn, of_caller))
    ]

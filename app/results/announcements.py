"""Reading announcements: as they were made, and which one stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from sqlalchemy import (
    Connection,
    bindparam,
    func,
    select,
)

from app.access.pen import BY_PIN, in_words
from app.access.queries import signatures_on
from app.clock import in_zone
from app.cursors import before_place, cursor, split_cursor
from app.ids import AnnouncementId, HeatId, MeetId
from app.meets.queries import meet_facts, meet_row
from app.meets.tables import heats
from app.refusals import NotFound
from app.results.announcement_wire import (
    AnnouncementLine,
    AnnouncementOut,
    AnnouncementsOut,
    EarlierWindow,
    LaterAnnouncement,
    QualifiersAnnounced,
)
from app.results.appealable import (
    IS_SETTLED,
    IS_TO_BE_TOLD_ANEW,
    JURY_HAS_DECIDED_ON_IT,
    OPENS_ANEW,
)
from app.results.corrections import announcement_corrections
from app.results.queries import ANNOUNCED, SNAPSHOTS, Holding, last_announcement, still_holding
from app.results.tables import announcements, windows
from app.results.wire import QualifiedOut
from app.rounds.queries import rounds_set_for
from app.rounds.tables import re_runs
from app.rules.windows import Remedy
from app.store.rows import AnyRow

PAGE = 50
_ANNOUNCEMENT = select(announcements).where(
    announcements.c.meet_id == bindparam("meet"), announcements.c.id == bindparam("announcement")
)
_IDS_OF_HEAT = (
    select(announcements.c.id)
    .where(announcements.c.heat_id == bindparam("heat"))
    .order_by(announcements.c.number)
)
_LIST = (
    ANNOUNCED.where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.announced_at.desc(), announcements.c.id.desc())
    .limit(PAGE + 1)
)
_LIST_BEFORE = _LIST.where(before_place(announcements.c.announced_at, announcements.c.id))
_LATER_IN_ROUND = (
    select(
        announcements.c.id,
        announcements.c.number,
        announcements.c.announced_at,
        heats.c.round,
        heats.c.number.label("heat_number"),
    )
    .select_from(
        announcements.join(heats, heats.c.id == announcements.c.heat_id).outerjoin(
            re_runs, re_runs.c.run_heat_id == heats.c.id
        )
    )
    .where(
        heats.c.event_id == bindparam("event"),
        func.coalesce(re_runs.c.round_key, heats.c.round_key) == bindparam("round"),
        announcements.c.id != bindparam("announcement"),
        announcements.c.announced_at >= bindparam("at"),
    )
    .order_by(announcements.c.announced_at.desc(), announcements.c.id.desc())
)


_SETTLED = select(IS_TO_BE_TOLD_ANEW.label("opens_anew")).where(
    windows.c.announcement_id == bindparam("announcement"),
    windows.c.decision_id.is_(None),
    IS_SETTLED,
)


_EARLIER = (
    select(windows, announcements.c.number)
    .join(announcements, announcements.c.id == windows.c.announcement_id)
    .where(
        windows.c.heat_id == bindparam("heat"),
        announcements.c.number < bindparam("number"),
        windows.c.decision_id.is_(None),
        ~IS_SETTLED,
    )
    .order_by(windows.c.opened_at, windows.c.id)
)


def announcement_row(conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId) -> AnyRow:
    """An announcement as stored; NotFound for an id that is not of this meet."""
    row = conn.execute(
        _ANNOUNCEMENT, {"meet": meet_id, "announcement": announcement_id}
    ).one_or_none()
    if row is None:
        raise NotFound("There is no such announcement at this meet.")
    return row


def announcement(
    conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId
) -> AnnouncementOut:
    """One announcement as it was made, and the one that stands if that is a later one.

    NotFound for an id that is not of this meet.
    """
    row = announcement_row(conn, meet_id, announcement_id)
    made = AnnouncementOut.model_validate(row.snapshot)
    superseded_by = _superseded_by(conn, made)
    tells_earlier = made.no_windows_because and superseded_by is None
    return made.model_copy(
        update={
            "signed_with": _signed_with(conn, meet_id, made),
            "superseded_by": superseded_by,
            "qualifiers_superseded_by": _qualifiers_superseded_by(conn, row, made),
            "time_corrections": announcement_corrections(conn, meet_id, made.id, made.time_zone),
            "meet_ended_at": _meet_ended_at(conn, meet_id, made),
            "appeals_void": _appeals_void(conn, made),
            "earlier_windows": _earlier_windows(conn, made) if tells_earlier else [],
        }
    )


def _signed_with(conn: Connection, meet_id: MeetId, made: AnnouncementOut) -> str:
    """How an announcement was signed; whose device it was, its notice board does not tell."""
    signed = signatures_on(conn, meet_id, "announcement", [made.id])
    return in_words(signed[0], made.time_zone, names_device=False) if signed else BY_PIN


def _meet_ended_at(conn: Connection, meet_id: MeetId, made: AnnouncementOut) -> datetime | None:
    """When the meet ended, where that moves a window of this announcement."""
    if all(window.counts_from is None for window in made.windows):
        return None
    return meet_facts(conn, meet_id).ended_at


def _appeals_void(conn: Connection, made: AnnouncementOut) -> str:
    """That the jury has settled all that this announcement let be appealed; else empty."""
    opened = any(window.remedy is Remedy.APPEAL for window in made.windows)
    settled = conn.execute(_SETTLED, {"announcement": made.id}).first() if opened else None
    if settled is None:
        return ""
    return OPENS_ANEW if settled.opens_anew else JURY_HAS_DECIDED_ON_IT


def _earlier_windows(conn: Connection, made: AnnouncementOut) -> list[EarlierWindow]:
    """Of each kind the window of an earlier announcement of the heat that closes last."""
    last: dict[tuple[str, str], EarlierWindow] = {}
    for row in conn.execute(_EARLIER, {"heat": made.heat, "number": made.number}):
        window = EarlierWindow(
            announcement=row.number,
            kind=row.kind,
            remedy=Remedy(row.remedy),
            closes_at=row.closes_at,
            minutes=row.minutes,
            counts_from=row.counts_from,
            rule=row.rule,
            origin=row.origin,
        )
        known = last.setdefault((row.remedy, row.kind), window)
        if known.closes_at is not None and (
            window.closes_at is None or window.closes_at > known.closes_at
        ):
            last[row.remedy, row.kind] = window
    return list(last.values())


def said_in(
    conn: Connection, announced: Iterable[AnnouncementId]
) -> Mapping[AnnouncementId, AnnouncementOut]:
    """What announcements said when they were made, all read together."""
    found = conn.execute(SNAPSHOTS, {"announcements": list(announced)})
    said = (AnnouncementOut.model_validate(row.snapshot) for row in found)
    return {one.id: one for one in said}


def announcements_of_heat(
    conn: Connection, meet_id: MeetId, heat_id: HeatId
) -> list[AnnouncementOut]:
    """All announcements of a heat, in order."""
    found = conn.execute(_IDS_OF_HEAT, {"heat": heat_id}).scalars().all()
    return [announcement(conn, meet_id, AnnouncementId(one)) for one in found]


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


def _qualifiers_superseded_by(
    conn: Connection, row: AnyRow, made: AnnouncementOut
) -> QualifiersAnnounced | None:
    """The last announcement in the round that tells who qualified, where it tells of others.

    What they say is long, so it is read of one after the other: the newest tells it as a rule.
    """
    which = rounds_set_for(conn, [made.heat]).get(made.heat) if made.qualified else None
    if which is None:
        return None
    values = {"event": which.event, "round": which.key}
    values |= {"at": row.announced_at, "announcement": made.id}
    for later in conn.execute(_LATER_IN_ROUND, values).all():
        told = _qualified_by(conn, later.id)
        if told and _who(told) == _who(made.qualified):
            return None
        if told:
            return QualifiersAnnounced(
                id=later.id,
                number=later.number,
                announced_at=later.announced_at,
                announced_at_local=in_zone(later.announced_at, made.time_zone),
                round=later.round,
                heat_number=later.heat_number,
            )
    return None


def _qualified_by(conn: Connection, announcement_id: AnnouncementId) -> list[QualifiedOut]:
    (said,) = conn.execute(SNAPSHOTS, {"announcements": [announcement_id]})
    return [QualifiedOut.model_validate(one) for one in said.snapshot.get("qualified", ())]


def _who(told: Sequence[QualifiedOut]) -> frozenset[tuple[str, str]]:
    return frozenset((one.team, one.letter) for one in told)


def announcements_page(
    conn: Connection, meet_id: MeetId, before: str | None
) -> tuple[AnnouncementsOut, Holding]:
    """Announcements, newest first, fifty a page; and which of them still hold."""
    zone = meet_row(conn, meet_id).time_zone
    if before is None:
        rows = conn.execute(_LIST, {"meet": meet_id}).all()
    else:
        at, ident = split_cursor(before, "before")
        rows = conn.execute(_LIST_BEFORE, {"meet": meet_id, "at": at, "place": ident}).all()
    page = rows[:PAGE]
    more = len(rows) > PAGE
    holding = still_holding(conn, meet_id, page)
    out = AnnouncementsOut(
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
                holds=row.id in holding.announcements,
            )
            for row in page
        ],
        next=cursor(page[-1].announced_at, page[-1].id) if more else None,
    )
    return out, holding

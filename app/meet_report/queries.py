"""Reading what a meet report counts: calls, reports, first rulings, posts, protests and appeals.

Rehearsals leave no figure behind. A flag whose account came as another report counts as that one. A
report and a call keep zone, edge and lane as they were then: an erasure takes words and names, and
with an entry's body nothing that is counted here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, bindparam, false, func, select

from app.access.queries import Caller, official_names
from app.appeals.tables import appeals, protests
from app.crew.tables import heat_posts, posts
from app.ids import MeetId
from app.meet_report.figures import (
    Facts,
    Figures,
    FlagShown,
    Outcome,
    PostExpected,
    Remedy,
    ReportMade,
    RulingMade,
    Where,
    reckon,
)
from app.meets.queries import IS_NOT_CALLED_OFF, heats_in
from app.meets.states import HeatState
from app.meets.tables import heats
from app.reports.heard import post_lines
from app.reports.states import ReportState
from app.reports.tables import calls, reports
from app.reports.wire import Flag
from app.results.tables import announcements
from app.roles import Role
from app.rulings.tables import rulings
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.wire import PhoneClock

SEES_ALL = (Role.CHIEF_UMPIRE, Role.REFEREE)
CALLED_OR_GIVEN_UP = (HeatState.JUDGED, HeatState.ANNOUNCED, HeatState.FINAL)

_EDGE = func.coalesce(heat_posts.c.edge, posts.c.edge).label("edge")
_TAKE_OVER = func.coalesce(heat_posts.c.take_over, posts.c.take_over).label("post_take_over")


def _at_a_post(statement: Select[Any], thing: Any) -> Select[Any]:
    """With where its post was when the heat was started, else where it is by the plan."""
    held = and_(heat_posts.c.heat_id == thing.c.heat_id, heat_posts.c.post_id == thing.c.post_id)
    return (
        statement.select_from(thing)
        .join(heats, heats.c.id == thing.c.heat_id)
        .outerjoin(heat_posts, held)
        .outerjoin(posts, posts.c.id == thing.c.post_id)
    )


def _of_meet(thing: Any) -> tuple[ColumnElement[bool], ...]:
    """By the meet of whatever has an index that begins with it: only reports have one of theirs."""
    return thing.c.meet_id == bindparam("meet"), heats.c.rehearsal == false()


_CALLS = Prepared(
    _at_a_post(
        select(
            calls.c.official_id,
            calls.c.flag,
            calls.c.lane,
            calls.c.report_id,
            calls.c.clock,
            _EDGE,
            _TAKE_OVER,
        ),
        calls,
    )
    .where(*_of_meet(heats))
    .order_by(calls.c.received_at, calls.c.id)
)
_REPORTS = Prepared(
    _at_a_post(
        select(
            reports.c.id,
            reports.c.official_id,
            reports.c.case_id,
            reports.c.take_over,
            reports.c.lane,
            reports.c.state,
            reports.c.observation,
            reports.c.received_at,
            reports.c.came_as,
            _EDGE,
            _TAKE_OVER,
        ),
        reports,
    )
    .where(*_of_meet(reports))
    .order_by(reports.c.raised_at, reports.c.id)
)
_RULINGS = Prepared(
    select(
        rulings.c.id,
        rulings.c.case_id,
        rulings.c.heat_id,
        rulings.c.verdict,
        rulings.c.ruled_at,
        rulings.c.replaced_by,
        rulings.c.reconsiders,
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(*_of_meet(heats))
    .order_by(rulings.c.ruled_at, rulings.c.id)
)
_ANNOUNCED = Prepared(
    select(announcements.c.heat_id, announcements.c.entered_at, announcements.c.announced_at)
    .where(announcements.c.meet_id == bindparam("meet"))
    .order_by(announcements.c.entered_at, announcements.c.number)
)
_PROTESTS = Prepared(
    select(protests.c.id, protests.c.state, rulings.c.case_id)
    .outerjoin(rulings, rulings.c.id == protests.c.ruling_id)
    .where(protests.c.meet_id == bindparam("meet"))
)
_APPEALS = Prepared(
    select(appeals.c.protest_id, appeals.c.state).where(appeals.c.meet_id == bindparam("meet"))
)
_HEATS = (
    select(heats.c.id)
    .where(
        *_of_meet(heats),
        heats.c.state.in_([state.value for state in CALLED_OR_GIVEN_UP]),
        IS_NOT_CALLED_OFF,
    )
    .order_by(heats.c.position)
)


def sees_all(caller: Caller) -> bool:
    """Whether somebody sees all figures, and whose they are; anybody else only their own."""
    return caller.holds(*SEES_ALL)


def figures_for(conn: Connection, meet_id: MeetId, caller: Caller) -> Figures:
    """The figures that a caller may see: all, or their own."""
    facts = facts_of(conn, meet_id)
    is_all = sees_all(caller)
    return reckon(facts if is_all else facts.of(caller.official_id), by_official=is_all)


def names_for(conn: Connection, meet_id: MeetId, caller: Caller) -> Mapping[str, str]:
    """Whom the ids in a caller's figures name; nobody where they are the caller's own."""
    if not sees_all(caller):
        return {}
    return {str(one): name for one, name in official_names(conn, meet_id).items()}


def facts_of(conn: Connection, meet_id: MeetId) -> Facts:
    """All that a meet report counts."""
    where = {"meet": meet_id}
    ruled, written = _RULINGS.all(conn, where), _REPORTS.all(conn, where)
    verdicts = {row.case_id: row.verdict for row in ruled if row.replaced_by is None}
    shown = _CALLS.all(conn, where)
    came_as = {row.id: row.came_as for row in written if row.came_as is not None}
    seen = {row.id: _seen(row) for row in written}
    return Facts(
        flags=[_flag(row, seen, came_as) for row in shown],
        reports=list(_reports(written, verdicts, _flags_at(shown, came_as))),
        rulings=list(_rulings(ruled, _ANNOUNCED.all(conn, where))),
        posts=list(_posts(conn, meet_id)),
        remedies=list(_remedies(conn, where)),
    )


def _where(row: AnyRow, take_over: int | None) -> Where:
    return Where(take_over or row.post_take_over, row.edge, row.lane)


def _seen(row: AnyRow) -> str:
    return str((row.observation or {}).get("seen", ""))


def _flag(row: AnyRow, seen: Mapping[str, str], came_as: Mapping[str, str]) -> FlagShown:
    report = came_as.get(row.report_id, row.report_id)
    is_yellow = row.flag == Flag.YELLOW
    return FlagShown(row.official_id, _where(row, None), seen.get(report, ""), is_yellow)


def _flags_at(shown: list[AnyRow], came_as: Mapping[str, str]) -> Mapping[str, datetime | None]:
    """When the first flag of each report was shown, by the server's clock; None where the phone had
    never compared its own with it.
    """
    found: dict[str, datetime | None] = {}
    for row in shown:
        if row.report_id is not None:
            clock = PhoneClock.model_validate(row.clock)
            at = clock.by_the_server() if clock.offset_ms is not None else None
            found.setdefault(came_as.get(row.report_id, row.report_id), at)
    return found


def _reports(
    written: list[AnyRow],
    verdicts: Mapping[str, str],
    flags_at: Mapping[str, datetime | None],
) -> Iterator[ReportMade]:
    for row in written:
        if row.came_as is None:
            yield ReportMade(
                official=row.official_id,
                case=row.case_id,
                where=_where(row, row.take_over),
                infringement=_seen(row),
                outcome=_outcome(row, verdicts),
                flag_at=flags_at.get(row.id),
                received_at=row.received_at,
            )


def _outcome(row: AnyRow, verdicts: Mapping[str, str]) -> Outcome:
    if row.state == ReportState.WITHDRAWN:
        return Outcome.WITHDRAWN
    ruled = row.state == ReportState.RULED and row.case_id in verdicts
    return Outcome(verdicts[row.case_id]) if ruled else Outcome.OPEN


def _rulings(ruled: list[AnyRow], announced: list[AnyRow]) -> Iterator[RulingMade]:
    """The first ruling on each case. What was announced first after it was typed in after it."""
    for row in ruled:
        if row.reconsiders is None:
            later = (
                one.announced_at
                for one in announced
                if one.heat_id == row.heat_id and one.entered_at >= row.ruled_at
            )
            yield RulingMade(row.case_id, row.ruled_at, next(later, None))


def _posts(conn: Connection, meet_id: MeetId) -> Iterator[PostExpected]:
    ids = list(conn.execute(_HEATS, {"meet": meet_id}).scalars())
    for lines in post_lines(conn, meet_id, heats_in(conn, meet_id, ids)).values():
        for line in lines:
            yield PostExpected(line.official, line.flag is None)


def _remedies(conn: Connection, where: Mapping[str, Any]) -> Iterator[Remedy]:
    cases = {}
    for row in _PROTESTS.all(conn, where):
        cases[row.id] = row.case_id
        yield Remedy("protest", row.state, row.case_id)
    for row in _APPEALS.all(conn, where):
        yield Remedy("appeal", row.state, cases.get(row.protest_id))

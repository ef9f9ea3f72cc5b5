"""Reading what a meet report counts: calls, reports, first rulings, posts, protests and appeals.

Rehearsals leave no figure behind. A flag whose account came as another report counts as that one. A
report and a call keep zone, edge and lane as they were then: an erasure takes words and names, and
with an entry's body nothing that is counted here. A yellow flag is about what its report says.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    and_,
    bindparam,
    exists,
    false,
    func,
    or_,
    select,
)

from app.access.queries import Caller, official_names
from app.appeals.tables import appeals, protests
from app.crew.queries import expected_in
from app.crew.tables import heat_posts, posts
from app.ids import MeetId
from app.meet_report.figures import (
    DECIDED,
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
from app.record.kinds import Kind
from app.record.tables import record_entries
from app.reports.heard import first_heard_in
from app.reports.states import RELAYED, ReportState
from app.reports.tables import calls, reports
from app.reports.wire import Flag
from app.results.tables import announcements
from app.roles import Role
from app.rulings.states import DisqualificationState
from app.rulings.tables import disqualifications, rulings
from app.rulings.wire import Verdict
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.wire import PhoneClock

SEES_ALL = (Role.CHIEF_UMPIRE, Role.REFEREE)
OUT = (HeatState.ANNOUNCED, HeatState.FINAL)

_EDGE = func.coalesce(heat_posts.c.edge, posts.c.edge).label("edge")
_POST_OFFICIAL = func.coalesce(heat_posts.c.official_id, posts.c.official_id)
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
            calls.c.marks,
            _POST_OFFICIAL.label("post_official"),
            _EDGE,
            _TAKE_OVER,
        ),
        calls,
    )
    .where(*_of_meet(heats))
    .order_by(calls.c.received_at, calls.c.id)
)
# A report's own row holds when it was written last: one that was returned came before that.
_FIRST_WRITTEN = (
    select(record_entries.c.entry)
    .where(
        record_entries.c.meet_id == reports.c.meet_id,
        record_entries.c.subject == reports.c.id,
        record_entries.c.kind == Kind.REPORT_WRITTEN.value,
    )
    # By the bare column, SQLite would walk the whole record for each report, first to last, instead
    # of asking its index by subject: five seconds for 1,500 reports among 16,000 entries.
    .order_by(record_entries.c.seq + 0)
    .limit(1)
    .scalar_subquery()
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
            reports.c.came_as,
            _FIRST_WRITTEN.label("first_written"),
            _EDGE,
            _TAKE_OVER,
        ),
        reports,
    )
    .where(*_of_meet(reports))
    .order_by(reports.c.raised_at, reports.c.id)
)
_SET_ASIDE = or_(
    exists().where(
        disqualifications.c.by_ruling == rulings.c.id,
        disqualifications.c.state == DisqualificationState.SET_ASIDE.value,
    ),
    and_(
        rulings.c.verdict == Verdict.DISMISSED.value,
        exists().where(
            disqualifications.c.heat_id == rulings.c.heat_id,
            disqualifications.c.state == DisqualificationState.IN_FORCE.value,
            disqualifications.c.team_id == rulings.c.team_id,
            disqualifications.c.run == rulings.c.run,
            disqualifications.c.by_decision.is_not(None),
            # One that a decision put in force again is about the case of its ruling.
            or_(
                disqualifications.c.case_id.is_(None),
                disqualifications.c.case_id == rulings.c.case_id,
            ),
            reports.c.case_id == rulings.c.case_id,
            reports.c.state == ReportState.RULED.value,
            or_(
                disqualifications.c.take_over.is_(None),
                reports.c.take_over.is_(None),
                disqualifications.c.take_over == reports.c.take_over,
            ),
        ),
    ),
)
"""That a protest or an appeal made the opposite of a ruling: its disqualification does not count,
or its team, whose case was dismissed, is disqualified all the same by a decision, whatever the
protest was about; not for another take-over, where both say theirs."""
_RULINGS = Prepared(
    select(
        rulings.c.id,
        rulings.c.case_id,
        rulings.c.heat_id,
        rulings.c.run,
        rulings.c.verdict,
        rulings.c.ruled_at,
        rulings.c.replaced_by,
        rulings.c.reconsiders,
        _SET_ASIDE.label("is_set_aside"),
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(*_of_meet(heats))
    .order_by(rulings.c.ruled_at, rulings.c.id)
)
_ANNOUNCED = Prepared(
    select(
        announcements.c.heat_id,
        announcements.c.entered_at,
        announcements.c.announced_at,
        announcements.c.run_seen,
    )
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
        heats.c.state.in_([state.value for state in OUT]),
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
    standing = {row.case_id: row for row in ruled if row.replaced_by is None}
    shown, announced = _CALLS.all(conn, where), _ANNOUNCED.all(conn, where)
    came_as = {row.id: row.came_as for row in written if row.came_as is not None}
    flags_at = _flags_at(shown, came_as)
    by_id = {row.id: row for row in written}
    return Facts(
        flags=[_flag(row, by_id.get(came_as.get(row.report_id, row.report_id))) for row in shown],
        reports=list(_reports(written, standing, flags_at)),
        rulings=list(_rulings(ruled, announced)),
        posts=list(_posts(conn, meet_id, announced)),
        remedies=list(_remedies(conn, where)),
    )


def _seen(row: AnyRow) -> str:
    return str((row.observation or {}).get("seen", ""))


def _flag(row: AnyRow, report: AnyRow | None) -> FlagShown:
    """A tap on a phone tells no lane: it comes with the report."""
    lane = row.lane if report is None or report.lane is None else report.lane
    where = Where(row.post_take_over, row.edge, lane)
    seen = "" if report is None else _seen(report)
    return FlagShown(_whose(row, report), where, seen, row.flag == Flag.YELLOW)


def _whose(row: AnyRow, report: AnyRow | None) -> str:
    """Who saw it: of a yellow flag whoever its report belongs to; of a white one whoever stood at
    the post for which the head of the crew called by radio, and otherwise whoever showed it.
    """
    if report is not None:
        return str(report.official_id)
    is_relayed = not RELAYED.isdisjoint(row.marks)
    return str(row.post_official if is_relayed else row.official_id)


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
    standing: Mapping[str, AnyRow],
    flags_at: Mapping[str, datetime | None],
) -> Iterator[ReportMade]:
    for row in written:
        if row.came_as is None:
            ruling = standing.get(row.case_id)
            outcome = _outcome(row, ruling)
            yield ReportMade(
                official=row.official_id,
                case=row.case_id,
                where=Where(row.take_over or row.post_take_over, row.edge, row.lane),
                infringement=_seen(row),
                outcome=outcome,
                is_set_aside=outcome in DECIDED
                and ruling is not None
                and bool(ruling.is_set_aside),
                is_flagged=row.id in flags_at,
                flag_at=flags_at.get(row.id),
                came_at=_came_at(row),
            )


def _came_at(row: AnyRow) -> datetime | None:
    """When its first account came; None of a flag whose account is still to come."""
    if row.first_written is None:
        return None
    return datetime.fromisoformat(json.loads(row.first_written)["at"])


def _outcome(row: AnyRow, ruling: AnyRow | None) -> Outcome:
    if row.state == ReportState.WITHDRAWN:
        return Outcome.WITHDRAWN
    if row.state == ReportState.RULED and ruling is not None:
        return Outcome(ruling.verdict)
    return Outcome.OPEN


def _rulings(ruled: list[AnyRow], announced: list[AnyRow]) -> Iterator[RulingMade]:
    """The first ruling on each case. What was announced first after it was typed in after it, and
    is of the run that the ruling was made in: the result of a re-run does not tell it.
    """
    for row in ruled:
        if row.reconsiders is None:
            later = (
                one.announced_at
                for one in announced
                if (one.heat_id, one.run_seen) == (row.heat_id, row.run)
                and one.entered_at >= row.ruled_at
            )
            yield RulingMade(row.case_id, row.ruled_at, next(later, None))


def _posts(conn: Connection, meet_id: MeetId, announced: list[AnyRow]) -> Iterator[PostExpected]:
    """Of the present run of each heat, by its first announcement."""
    ids = list(conn.execute(_HEATS, {"meet": meet_id}).scalars())
    known, heard = heats_in(conn, meet_id, ids), first_heard_in(conn, ids)
    expected = expected_in(conn, meet_id, known)
    first: dict[tuple[str, int], datetime] = {}
    for row in announced:
        first.setdefault((row.heat_id, row.run_seen), row.announced_at)
    for one in known:
        out_at = first.get((one.id, one.present_run))
        if out_at is not None:
            for post in expected[one.id]:
                came_at = heard[one.id].get(post.id)
                yield PostExpected(post.official_id, came_at is None or came_at > out_at)


def _remedies(conn: Connection, where: Mapping[str, Any]) -> Iterator[Remedy]:
    cases = {}
    for row in _PROTESTS.all(conn, where):
        cases[row.id] = row.case_id
        yield Remedy("protest", row.state, row.case_id)
    for row in _APPEALS.all(conn, where):
        yield Remedy("appeal", row.state, cases.get(row.protest_id))

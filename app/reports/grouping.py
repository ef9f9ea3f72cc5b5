"""Which case a report belongs to: everything about one team in one heat is one case.

Two umpires who report the same thing end in one case. A flag whose lane is not yet known, or whose
lane has no team, waits in a case of its own; when the facts come, its reports move to the team's
open case, and the case they leave behind is marked as joined to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, and_, bindparam, func, insert, literal_column, select, update

from app.ids import CaseId, HeatId, OfficialId, ReportId, TeamId, new_id
from app.meets.queries import lanes_of, teams_of_run
from app.meets.tables import lanes
from app.refusals import StateConflict
from app.reports.queries import past_run_seen
from app.reports.states import (
    CASE_TABLE,
    REPORT_TABLE,
    CaseAct,
    CaseState,
    ReportAct,
    ReportState,
)
from app.reports.tables import cases, reports
from app.store.action import Unit
from app.store.prepared import Prepared, Question
from app.store.rows import AnyRow

# Written out, not bound: only then does the engine know that the index of open cases will do.
_IS_OPEN = cases.c.state == literal_column("'open'")
_OF_TEAM = and_(
    cases.c.heat_id == bindparam("heat"), cases.c.team_id == bindparam("team"), _IS_OPEN
)
_OF_LANE = and_(
    cases.c.heat_id == bindparam("heat"),
    cases.c.team_id.is_(None),
    cases.c.lane == bindparam("lane"),
    _IS_OPEN,
)
_BY_THE_SAME = (
    select(func.count())
    .where(reports.c.case_id == cases.c.id, reports.c.official_id == bindparam("official"))
    .scalar_subquery()
    .label("by_the_same")
)
_OPEN_FOR_TEAM = Prepared(select(cases.c.id, _BY_THE_SAME).where(_OF_TEAM))
_OPEN_FOR_LANE = Prepared(select(cases.c.id, _BY_THE_SAME).where(_OF_LANE))
_OPEN_BY_LANE = Prepared(
    select(lanes.c.team_id, cases.c.id, _BY_THE_SAME)
    .select_from(
        lanes.outerjoin(
            cases,
            and_(cases.c.heat_id == lanes.c.heat_id, cases.c.team_id == lanes.c.team_id, _IS_OPEN),
        )
    )
    .where(lanes.c.heat_id == bindparam("heat"), lanes.c.lane == bindparam("lane"))
)
_ADD = Prepared(
    update(cases)
    .where(cases.c.id == bindparam("case"))
    .values(version=cases.c.version + 1, lane=bindparam("now_in"))
)
_LAST_RULED = (
    select(cases.c.id)
    .where(
        cases.c.heat_id == bindparam("heat"),
        cases.c.team_id == bindparam("team"),
        cases.c.state == "ruled",
    )
    .order_by(cases.c.opened_at.desc(), cases.c.id.desc())
    .limit(1)
)
"""Of no team there is none: in SQL nothing is equal to nothing."""
# Nobody else takes the same number: within a meet actions run one after another.
_NEXT_NUMBER = select(func.coalesce(func.max(cases.c.number), 0) + 1).where(
    cases.c.meet_id == bindparam("meet")
)
_OPEN_CASE = Prepared(
    insert(cases).values(
        id=bindparam("case"),
        meet_id=bindparam("meet"),
        number=_NEXT_NUMBER.scalar_subquery(),
        heat_id=bindparam("heat"),
        team_id=bindparam("team"),
        lane=bindparam("in_lane"),
        state=bindparam("begins"),
        opened_at=bindparam("now"),
        further_of=_LAST_RULED.scalar_subquery(),
        version=1,
    )
)
_POINT = Prepared(
    update(cases)
    .where(cases.c.id == bindparam("case"))
    .values(
        heat_id=bindparam("heat"),
        team_id=bindparam("team"),
        lane=bindparam("in_lane"),
        further_of=_LAST_RULED.scalar_subquery(),
        version=cases.c.version + 1,
    )
)
_TOUCH = Prepared(
    update(cases).where(cases.c.id == bindparam("case")).values(version=cases.c.version + 1)
)
_CASE = Prepared(select(cases).where(cases.c.id == bindparam("case")))
_OTHERS = Prepared(
    select(reports.c.id)
    .where(
        reports.c.case_id == bindparam("case"),
        reports.c.id != bindparam("report"),
        reports.c.state != ReportState.WITHDRAWN.value,
    )
    .limit(1)
)

# One report tells of one apparent infringement. So many from one umpire on one case are a fault of
# a phone, and would bury the case for everybody who has to read it.
MOST_BY_ONE = 50

_BY_ONE = select(reports.c.id).where(
    reports.c.case_id == bindparam("case"), reports.c.official_id == bindparam("official")
)
_SO_MANY = Prepared(_BY_ONE.limit(MOST_BY_ONE))
_LAST_BY_ONE = Prepared(
    _BY_ONE.where(reports.c.state != ReportState.WITHDRAWN.value)
    .order_by(reports.c.raised_at.desc(), reports.c.id.desc())
    .limit(1)
)


@dataclass(frozen=True, slots=True)
class Place:
    """What a report is about: a heat, and the lane and team as far as they are known. `is_over`: a
    rehearsal that has ended.
    """

    heat_id: HeatId
    lane: int | None
    team_id: TeamId | None
    is_over: bool = False


@dataclass(frozen=True, slots=True)
class Joined:
    """The case that a report joins, and how many reports its umpire has on it before."""

    case_id: CaseId
    by_the_same: int = 0


def case_for(unit: Unit, place: Place, by: OfficialId) -> Joined:
    """The open case for this place, opened where there is none; its version moves."""
    known = find_open(unit.conn, place, by)
    if known is None:
        return Joined(open_case(unit, place))
    # The lane too: the team may have been drawn into another since the case was opened.
    _ADD.later(unit.conn, {"case": known.case_id, "now_in": place.lane})
    return known


def open_by_lane(heat_id: HeatId, lane: int | None, by: OfficialId) -> Question:
    """What is asked for the open case of the team that runs in a lane now."""
    return _OPEN_BY_LANE, {"heat": heat_id, "lane": lane, "official": by}


def find_open(conn: Connection, place: Place, by: OfficialId) -> Joined | None:
    """The open case for this place, if there is one."""
    found = None
    where = {"heat": place.heat_id, "official": by, "lane": place.lane, "team": place.team_id}
    if place.team_id is not None:
        now = _OPEN_BY_LANE.first(conn, where)
        if now is not None and now.team_id == place.team_id:
            return None if now.id is None else Joined(CaseId(now.id), now.by_the_same)
        found = _OPEN_FOR_TEAM.first(conn, where)
    elif place.lane is not None:
        found = _OPEN_FOR_LANE.first(conn, where)
    return None if found is None else Joined(CaseId(found.id), found.by_the_same)


def open_case(unit: Unit, place: Place) -> CaseId:
    """A new case; a further one where this team was ruled on in this heat before. What comes after
    the end of a rehearsal is kept, and awaits nobody.
    """
    state = CaseState.CLOSED if place.is_over else CaseState.OPEN
    case_id = CaseId(new_id())
    _OPEN_CASE.later(
        unit.conn,
        {
            "case": case_id,
            "meet": unit.meet_id,
            "heat": place.heat_id,
            "team": place.team_id,
            "in_lane": place.lane,
            "begins": state.value,
            "now": unit.now,
        },
    )
    return case_id


def move_report(
    unit: Unit, report_id: str, from_case: CaseId, place: Place, by: OfficialId
) -> CaseId:
    """The case of a report whose facts have come: the same, the team's open one, or a further."""
    current = _CASE.first(unit.conn, {"case": from_case})
    if _is_about(current, place) and current.state == CaseState.OPEN:
        _TOUCH.run(unit.conn, {"case": from_case})
        return from_case
    if current.state != CaseState.OPEN:
        # Whoever rules on that case again is to see that a report has left it.
        _TOUCH.run(unit.conn, {"case": from_case})
        return case_for(unit, place, by).case_id
    shared = _OTHERS.first(unit.conn, {"case": from_case, "report": report_id})
    known = find_open(unit.conn, place, by)
    if (known is not None and known.case_id == from_case) or (known is None and shared is None):
        # Known by its team while the lane was drawn anew, or the only report of its case: the case
        # itself takes the place. It is never joined to itself.
        _point_at(unit, from_case, place)
        return from_case
    target = case_for(unit, place, by).case_id
    if shared is None:
        _join(unit, from_case, target)
    else:
        _TOUCH.run(unit.conn, {"case": from_case})
    return target


def joined_by(unit: Unit, case_id: CaseId, official_id: OfficialId) -> Joined:
    """A case that a report has moved to."""
    found = _SO_MANY.all(unit.conn, {"case": case_id, "official": official_id})
    return Joined(case_id, len(found))


def insist_on_measure(unit: Unit, joined: Joined, official_id: OfficialId) -> None:
    """StateConflict where one official has written as much on a case as anybody can read."""
    if last_beyond_measure(unit, joined, official_id) is not None:
        raise StateConflict(
            f"You have written {MOST_BY_ONE} reports about this team in this heat already. Tell "
            "the head official what is missing."
        )


def last_beyond_measure(unit: Unit, joined: Joined, official_id: OfficialId) -> ReportId | None:
    """The official's last standing report on a case that holds as many as it takes, else None.

    A flag is never refused: it then belongs to that report.
    """
    if joined.by_the_same < MOST_BY_ONE:
        return None
    where = {"case": joined.case_id, "official": official_id}
    last = _LAST_BY_ONE.first(unit.conn, where)
    return None if last is None else ReportId(last.id)


def settle_lane(unit: Unit, case_id: CaseId) -> None:
    """Set the case to the lane in which its team ran when it was seen.

    Lanes may have been drawn anew since the case was opened: before the run, or for the next one.
    """
    case = _CASE.first(unit.conn, {"case": case_id})
    if case is None or case.team_id is None:
        return
    ran = _lanes_when_seen(unit.conn, case_id, case.heat_id)
    lane = ran.get(case.team_id, case.lane)
    unit.conn.execute(update(cases).where(cases.c.id == case_id).values(lane=lane))


def _lanes_when_seen(conn: Connection, case_id: CaseId, heat_id: HeatId) -> Mapping[TeamId, int]:
    """The lanes of the teams in the last run that a standing report of a case is about."""
    run = past_run_seen(conn, case_id)
    if run is not None:
        then = teams_of_run(conn, heat_id, run)
        if then:
            return {team.id: lane for lane, team in then.items()}
    return {line.team: line.lane for line in lanes_of(conn, [heat_id]).get(heat_id, [])}


def close_case(unit: Unit, case_id: CaseId) -> None:
    """A ruling closes a case, and takes along the reports that are written."""
    unit.conn.execute(
        update(cases)
        .where(cases.c.id == case_id)
        .values(state=CaseState.RULED.value, version=cases.c.version + 1)
    )
    step = REPORT_TABLE.step(ReportState.WRITTEN, ReportAct.RULE)
    unit.conn.execute(
        update(reports)
        .where(reports.c.case_id == case_id, reports.c.state == step.state.value)
        .values(state=step.becomes.value, version=reports.c.version + 1)
    )


def close_without_ruling(unit: Unit, heat_id: HeatId) -> list[CaseId]:
    """A rehearsal has ended: its open cases await nobody any more. Their reports stay as they are.

    The caller has looked whether it is one.
    """
    step = CASE_TABLE.step(CaseState.OPEN, CaseAct.CLOSE)
    closed = unit.conn.execute(
        update(cases)
        .where(cases.c.heat_id == heat_id, cases.c.state == step.state.value)
        .values(state=step.becomes.value, version=cases.c.version + 1)
        .returning(cases.c.id)
    )
    return sorted(CaseId(row.id) for row in closed)


def touch_case_of(unit: Unit, report_id: str) -> None:
    """Move the version of a report's case, since what it says has changed."""
    case_id = select(reports.c.case_id).where(reports.c.id == report_id).scalar_subquery()
    unit.conn.execute(
        update(cases).where(cases.c.id == case_id).values(version=cases.c.version + 1)
    )


def _is_about(case: AnyRow, place: Place) -> bool:
    return bool(
        case.heat_id == place.heat_id and case.team_id == place.team_id and case.lane == place.lane
    )


def _point_at(unit: Unit, case_id: CaseId, place: Place) -> None:
    _POINT.run(
        unit.conn,
        {
            "case": case_id,
            "heat": place.heat_id,
            "team": place.team_id,
            "in_lane": place.lane,
        },
    )


def _join(unit: Unit, case_id: CaseId, target: CaseId) -> None:
    step = CASE_TABLE.step(CaseState.OPEN, CaseAct.JOIN)
    unit.conn.execute(
        update(cases)
        .where(cases.c.id == case_id)
        .values(state=step.becomes.value, joined_to=target, version=cases.c.version + 1)
    )

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
from app.store.prepared import Prepared
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
_OPEN_FOR_TEAM = Prepared(select(cases.c.id).where(_OF_TEAM))
_OPEN_FOR_LANE = Prepared(select(cases.c.id).where(_OF_LANE))
_ADD_TO_TEAMS = Prepared(
    update(cases)
    .where(_OF_TEAM)
    .values(version=cases.c.version + 1, lane=bindparam("now_in"))
    .returning(cases.c.id)
)
_ADD_TO_LANES = Prepared(
    update(cases).where(_OF_LANE).values(version=cases.c.version + 1).returning(cases.c.id)
)
_LAST_RULED = Prepared(
    select(cases.c.id)
    .where(
        cases.c.heat_id == bindparam("heat"),
        cases.c.team_id == bindparam("team"),
        cases.c.state == "ruled",
    )
    .order_by(cases.c.opened_at.desc(), cases.c.id.desc())
    .limit(1)
)
# Nobody else takes the same number: within a meet actions run one after another.
_NEXT_NUMBER = Prepared(
    select((func.coalesce(func.max(cases.c.number), 0) + 1).label("number")).where(
        cases.c.meet_id == bindparam("meet")
    )
)
_OPEN_CASE = Prepared(insert(cases))
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

_BY_ONE = (
    select(reports.c.id)
    .where(reports.c.case_id == bindparam("case"), reports.c.official_id == bindparam("official"))
    .limit(1)
)
_IS_FULL = Prepared(_BY_ONE.offset(MOST_BY_ONE - 1))
_LAST_BY_ONE = Prepared(
    _BY_ONE.where(reports.c.state != ReportState.WITHDRAWN.value).order_by(
        reports.c.raised_at.desc(), reports.c.id.desc()
    )
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


def case_for(unit: Unit, place: Place) -> CaseId:
    """The open case for this place, opened where there is none; its version moves."""
    known = None
    if place.team_id is not None:
        # The lane too: the team may have been drawn into another since the case was opened.
        where = {"heat": place.heat_id, "team": place.team_id, "now_in": place.lane}
        known = _ADD_TO_TEAMS.first(unit.conn, where)
    elif place.lane is not None:
        known = _ADD_TO_LANES.first(unit.conn, {"heat": place.heat_id, "lane": place.lane})
    return CaseId(known.id) if known is not None else open_case(unit, place)


def find_open(conn: Connection, place: Place) -> CaseId | None:
    """The open case for this place, if there is one."""
    found = None
    if place.team_id is not None:
        found = _OPEN_FOR_TEAM.first(conn, {"heat": place.heat_id, "team": place.team_id})
    elif place.lane is not None:
        found = _OPEN_FOR_LANE.first(conn, {"heat": place.heat_id, "lane": place.lane})
    return None if found is None else CaseId(found.id)


def open_case(unit: Unit, place: Place) -> CaseId:
    """A new case; a further one where this team was ruled on in this heat before. What comes after
    the end of a rehearsal is kept, and awaits nobody.
    """
    state = CaseState.CLOSED if place.is_over else CaseState.OPEN
    case_id = CaseId(new_id())
    _OPEN_CASE.run(
        unit.conn,
        {
            "id": case_id,
            "meet_id": unit.meet_id,
            "number": _NEXT_NUMBER.first(unit.conn, {"meet": unit.meet_id}).number,
            "heat_id": place.heat_id,
            "team_id": place.team_id,
            "lane": place.lane,
            "state": state.value,
            "opened_at": unit.now,
            "further_of": _last_ruled(unit.conn, place),
            "joined_to": None,
            "version": 1,
        },
    )
    return case_id


def _last_ruled(conn: Connection, place: Place) -> CaseId | None:
    if place.team_id is None:
        return None
    found = _LAST_RULED.first(conn, {"heat": place.heat_id, "team": place.team_id})
    return None if found is None else CaseId(found.id)


def move_report(unit: Unit, report_id: str, from_case: CaseId, place: Place) -> CaseId:
    """The case of a report whose facts have come: the same, the team's open one, or a further."""
    current = _CASE.first(unit.conn, {"case": from_case})
    if _is_about(current, place) and current.state == CaseState.OPEN:
        _TOUCH.run(unit.conn, {"case": from_case})
        return from_case
    if current.state != CaseState.OPEN:
        # Whoever rules on that case again is to see that a report has left it.
        _TOUCH.run(unit.conn, {"case": from_case})
        return case_for(unit, place)
    shared = _OTHERS.first(unit.conn, {"case": from_case, "report": report_id})
    known = find_open(unit.conn, place)
    if known == from_case or (known is None and shared is None):
        # Known by its team while the lane was drawn anew, or the only report of its case: the case
        # itself takes the place. It is never joined to itself.
        _point_at(unit, from_case, place)
        return from_case
    target = case_for(unit, place)
    if shared is None:
        _join(unit, from_case, target)
    else:
        _TOUCH.run(unit.conn, {"case": from_case})
    return target


def insist_on_measure(unit: Unit, case_id: CaseId, official_id: OfficialId) -> None:
    """StateConflict where one official has written as much on a case as anybody can read."""
    if last_beyond_measure(unit, case_id, official_id) is not None:
        raise StateConflict(
            f"You have written {MOST_BY_ONE} reports about this team in this heat already. Tell "
            "the head official what is missing."
        )


def last_beyond_measure(unit: Unit, case_id: CaseId, official_id: OfficialId) -> ReportId | None:
    """The official's last standing report on a case that holds as many as it takes, else None.

    A flag is never refused: it then belongs to that report.
    """
    where = {"case": case_id, "official": official_id}
    last = None
    if _IS_FULL.first(unit.conn, where) is not None:
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
    unit.conn.execute(
        update(cases)
        .where(cases.c.id == case_id)
        .values(
            heat_id=place.heat_id,
            team_id=place.team_id,
            lane=place.lane,
            further_of=_last_ruled(unit.conn, place),
            version=cases.c.version + 1,
        )
    )


def _join(unit: Unit, case_id: CaseId, target: CaseId) -> None:
    step = CASE_TABLE.step(CaseState.OPEN, CaseAct.JOIN)
    unit.conn.execute(
        update(cases)
        .where(cases.c.id == case_id)
        .values(state=step.becomes.value, joined_to=target, version=cases.c.version + 1)
    )

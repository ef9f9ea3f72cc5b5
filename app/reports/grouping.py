"""Which case a report belongs to: everything about one team in one heat is one case.

Two umpires who report the same thing end in one case. A flag whose lane is not yet known, or whose
lane has no team, waits in a case of its own; when the facts come, its reports move to the team's
open case, and the case they leave behind is marked as joined to it.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, bindparam, insert, select, update

from app.ids import CaseId, HeatId, TeamId, new_id
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
from app.store.rows import AnyRow

_OPEN_FOR_TEAM = select(cases.c.id).where(
    cases.c.heat_id == bindparam("heat"),
    cases.c.team_id == bindparam("team"),
    cases.c.state == "open",
)
_OPEN_FOR_LANE = select(cases.c.id).where(
    cases.c.heat_id == bindparam("heat"),
    cases.c.team_id.is_(None),
    cases.c.lane == bindparam("lane"),
    cases.c.state == "open",
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
_OPEN_CASE = insert(cases)
_TOUCH = update(cases).where(cases.c.id == bindparam("case")).values(version=cases.c.version + 1)
_CASE = select(cases).where(cases.c.id == bindparam("case"))
_OTHERS = (
    select(reports.c.id)
    .where(
        reports.c.case_id == bindparam("case"),
        reports.c.id != bindparam("report"),
        reports.c.state != ReportState.WITHDRAWN.value,
    )
    .limit(1)
)


@dataclass(frozen=True, slots=True)
class Place:
    """What a report is about: a heat, and the lane and team as far as they are known."""

    heat_id: HeatId
    lane: int | None
    team_id: TeamId | None


def case_for(unit: Unit, place: Place) -> CaseId:
    """The open case for this place, opened where there is none; its version moves."""
    known = find_open(unit.conn, place)
    if known is None:
        return open_case(unit, place)
    unit.conn.execute(_TOUCH, {"case": known})
    return known


def find_open(conn: Connection, place: Place) -> CaseId | None:
    """The open case for this place, if there is one."""
    if place.team_id is not None:
        found = conn.execute(_OPEN_FOR_TEAM, {"heat": place.heat_id, "team": place.team_id})
    elif place.lane is not None:
        found = conn.execute(_OPEN_FOR_LANE, {"heat": place.heat_id, "lane": place.lane})
    else:
        return None
    case_id: CaseId | None = found.scalars().first()
    return case_id


def open_case(unit: Unit, place: Place) -> CaseId:
    """A new case; a further one where this team was ruled on in this heat before."""
    case_id = CaseId(new_id())
    unit.conn.execute(
        _OPEN_CASE,
        {
            "id": case_id,
            "meet_id": unit.meet_id,
            "heat_id": place.heat_id,
            "team_id": place.team_id,
            "lane": place.lane,
            "state": CaseState.OPEN.value,
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
    found: CaseId | None = conn.execute(
        _LAST_RULED, {"heat": place.heat_id, "team": place.team_id}
    ).scalar()
    return found


def move_report(unit: Unit, report_id: str, from_case: CaseId, place: Place) -> CaseId:
    """The case of a report whose facts have come: the same, the team's open one, or a further."""
    current = unit.conn.execute(_CASE, {"case": from_case}).one()
    if _is_about(current, place) and current.state == CaseState.OPEN:
        unit.conn.execute(_TOUCH, {"case": from_case})
        return from_case
    if current.state != CaseState.OPEN:
        return case_for(unit, place)
    shared = unit.conn.execute(_OTHERS, {"case": from_case, "report": report_id}).scalar()
    target = find_open(unit.conn, place)
    if target is None and shared is None:
        _point_at(unit, from_case, place)
        return from_case
    target = case_for(unit, place)
    if shared is None:
        _join(unit, from_case, target)
    else:
        unit.conn.execute(_TOUCH, {"case": from_case})
    return target


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

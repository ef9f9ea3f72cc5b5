"""Reading calls, reports and cases."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, exists, false, func, select

from app.access.names import WHO, NamesOfRows
from app.access.pen import revoked_before
from app.access.queries import revoked_of
from app.access.tables import officials
from app.ids import (
    CallId,
    CaseId,
    HeatId,
    KeyId,
    MeetId,
    OfficialId,
    ReportId,
    RulingId,
    TeamId,
)
from app.meets.queries import PRESENT_RUN
from app.meets.states import HeatState, present_run
from app.meets.tables import events, heats, teams
from app.pictures.queries import pictures_of
from app.refusals import NotFound
from app.reports.attesting import as_revoked, attested_out
from app.reports.findings import finding_out
from app.reports.states import (
    CASE_TABLE,
    REPORT_TABLE,
    CaseState,
    Mark,
    ReportAct,
    ReportState,
)
from app.reports.tables import calls, cases, reports
from app.reports.wire import CallOut, CaseOut, Flag, GoneOn, ReportOut
from app.rules.finding import Consequence
from app.rulings.tables import rulings
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.wire import PhoneClock

REPORTS_PAGE = 100

_CALL = Prepared(
    select(calls, reports.c.case_id, teams.c.name.label("team_name"))
    .outerjoin(reports, reports.c.id == calls.c.report_id)
    .outerjoin(teams, teams.c.id == calls.c.team_id)
    .where(calls.c.meet_id == bindparam("meet"), calls.c.id == bindparam("call"))
)
_REPORT_COLUMNS = (
    select(
        reports,
        *WHO,
        cases.c.state.label("case_state"),
        heats.c.run.label("heat_run"),
        heats.c.state.label("heat_state"),
        teams.c.name.label("team_name"),
    )
    .join(officials, officials.c.id == reports.c.official_id)
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == reports.c.heat_id)
    .outerjoin(teams, teams.c.id == reports.c.team_id)
)
_REPORT = Prepared(
    _REPORT_COLUMNS.where(
        reports.c.meet_id == bindparam("meet"), reports.c.id == bindparam("report")
    )
)
_REPORTS_OF_CASE = _REPORT_COLUMNS.where(reports.c.case_id == bindparam("case")).order_by(
    reports.c.raised_at, reports.c.id
)
_REPORTS_OF_OFFICIAL = (
    _REPORT_COLUMNS.where(
        reports.c.meet_id == bindparam("meet"), reports.c.official_id == bindparam("official")
    )
    .order_by(reports.c.raised_at.desc(), reports.c.id.desc())
    .limit(REPORTS_PAGE)
)
REPORT_LINES = (
    select(
        reports.c.id,
        reports.c.case_id,
        reports.c.state,
        reports.c.finding,
        reports.c.marks,
        reports.c.run,
        reports.c.post_words,
        reports.c.take_over,
        officials.c.name.label("official_name"),
        heats.c.run.label("heat_run"),
        heats.c.state.label("heat_state"),
    )
    .join(officials, officials.c.id == reports.c.official_id)
    .join(heats, heats.c.id == reports.c.heat_id)
)
CASE_COLUMNS = (
    select(
        cases,
        events.c.name.label("event_name"),
        events.c.relay,
        heats.c.round,
        heats.c.number.label("heat_number"),
        heats.c.rehearsal,
        PRESENT_RUN.label("present_run"),
        teams.c.name.label("team_name"),
        teams.c.affiliation,
    )
    .join(heats, heats.c.id == cases.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == cases.c.team_id)
)
_OF_TEAMS = (
    select(cases.c.id)
    .where(
        cases.c.heat_id == bindparam("heat"),
        cases.c.team_id.in_(bindparam("teams", expanding=True)),
    )
    .order_by(cases.c.number)
)
_CASE = CASE_COLUMNS.where(cases.c.meet_id == bindparam("meet"), cases.c.id == bindparam("case"))
_COUNT_OPEN = (
    select(cases.c.heat_id, func.count().label("count_"))
    .where(
        cases.c.heat_id.in_(bindparam("heats", expanding=True)),
        cases.c.state == CaseState.OPEN.value,
    )
    .group_by(cases.c.heat_id)
)
_AWAITING_A_RULING = (
    select(func.count(), func.min(cases.c.opened_at))
    .select_from(cases)
    .join(heats, heats.c.id == cases.c.heat_id)
    .where(cases.c.state == CaseState.OPEN.value, heats.c.rehearsal == false())
)
_account = reports.alias("account")
_AWAITED = (
    select(cases.c.heat_id, reports.c.id, reports.c.lane, officials.c.name.label("official_name"))
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == cases.c.heat_id)
    .join(officials, officials.c.id == reports.c.official_id)
    .where(
        # Both sides of the join: PostgreSQL would else read all heats there are.
        cases.c.heat_id.in_(bindparam("heats", expanding=True)),
        heats.c.id.in_(bindparam("heats", expanding=True)),
        cases.c.state == CaseState.RULED.value,
        reports.c.state.in_([ReportState.RAISED.value, ReportState.RETURNED.value]),
        reports.c.run == PRESENT_RUN,
        # Whoever ruled on flags alone knew that nothing was written; one account among others may
        # still change what was ruled on the others.
        exists().where(
            _account.c.case_id == cases.c.id, _account.c.state == ReportState.RULED.value
        ),
    )
    .order_by(reports.c.raised_at, reports.c.id)
)
_SEEN_IN = (
    select(reports.c.run, PRESENT_RUN.label("present_run"))
    .join(cases, cases.c.id == reports.c.case_id)
    .join(heats, heats.c.id == cases.c.heat_id)
    .where(
        reports.c.case_id == bindparam("case"),
        reports.c.state != ReportState.WITHDRAWN.value,
    )
    .order_by(reports.c.run.desc())
    .limit(1)
)
_LANE_INFRINGEMENTS = (
    select(
        rulings.c.id,
        rulings.c.separate,
        rulings.c.ruled_at,
        rulings.c.heat_id,
        heats.c.started_at,
        heats.c.position,
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(
        rulings.c.meet_id == bindparam("meet"),
        rulings.c.team_id == bindparam("team"),
        rulings.c.effect == Consequence.NOTED.value,
        rulings.c.replaced_by.is_(None),
        rulings.c.run == PRESENT_RUN,
    )
    .order_by(rulings.c.ruled_at, rulings.c.id)
)
_HEAT_IN_ORDER = select(heats.c.started_at, heats.c.position).where(heats.c.id == bindparam("heat"))


@dataclass(frozen=True, slots=True)
class Noted:
    """The lane infringements that stand against a team, the rulings that noted them, and which of
    those are about the same heat.
    """

    count: int = 0
    by: tuple[RulingId, ...] = ()
    in_this_heat: tuple[RulingId, ...] = ()


def noted_against(
    conn: Connection,
    meet_id: MeetId,
    team_id: TeamId,
    heat_id: HeatId,
) -> Noted:
    """The tolerated lane infringements of a team up to and with this heat.

    Since 1 November 2021 a first one can be tolerated and is noted as L; the next, by whichever
    member of the team and in whichever round, disqualifies (World Athletics TR17.4 in the numbering
    of 2021). A team here is a team in one event. They count in the order of racing, in whichever
    order they were ruled on; what was noted in a race that is run again does not.
    """
    rows = conn.execute(_LANE_INFRINGEMENTS, {"meet": meet_id, "team": team_id}).all()
    if not rows:
        return Noted()
    here = conn.execute(_HEAT_IN_ORDER, {"heat": heat_id}).one()
    counted = [row for row in rows if row.heat_id == heat_id or _ran_before(row, here)]
    return Noted(
        sum(row.separate for row in counted),
        tuple(row.id for row in counted),
        tuple(row.id for row in counted if row.heat_id == heat_id),
    )


def _ran_before(one: AnyRow, other: AnyRow) -> bool:
    """Which heat ran first: by their starts, else by the programme."""
    if one.started_at is not None and other.started_at is not None:
        return bool(one.started_at < other.started_at)
    return bool(one.position < other.position)


def call_out(conn: Connection, meet_id: MeetId, call_id: CallId) -> CallOut:
    """One call; NotFound for an id that is not of this meet."""
    row = _CALL.first(conn, {"meet": meet_id, "call": call_id})
    if row is None:
        raise NotFound("There is no such call at this meet.")
    return call_from(row._asdict(), row.team_name, row.case_id)


def call_from(stored: Mapping[str, Any], team_name: str | None, case: CaseId | None) -> CallOut:
    """A call as it goes over HTTP, from its stored columns, its lane's team and its case."""
    return CallOut(
        id=stored["id"],
        heat=stored["heat_id"],
        post=stored["post_id"],
        official=stored["official_id"],
        flag=Flag(stored["flag"]),
        lane=stored["lane"],
        team=stored["team_id"],
        team_name=team_name,
        report=stored["report_id"],
        case=case,
        marks=[Mark(mark) for mark in stored["marks"]],
        counts=stored["run"] is not None,
        received_at=stored["received_at"],
    )


def cases_awaiting_a_ruling(conn: Connection) -> tuple[int, datetime | None]:
    """How many cases of all meets await a ruling, and when the oldest was opened. Those of
    rehearsals await none.
    """
    count, oldest = conn.execute(_AWAITING_A_RULING).one()
    return count, oldest


def open_cases_in(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, int]:
    """How many cases of each of the heats await a ruling; heats without any are left out."""
    rows = conn.execute(_COUNT_OPEN, {"heats": list(heat_ids)})
    return {row.heat_id: row.count_ for row in rows}


def accounts_awaited(conn: Connection, heat_ids: Sequence[HeatId]) -> Sequence[AnyRow]:
    """Flags and returned reports of heats that still await their account, their case ruled on."""
    return conn.execute(_AWAITED, {"heats": heat_ids}).all()


def past_run_seen(conn: Connection, case_id: CaseId) -> int | None:
    """The last run that a standing report of a case is about, None where that run still counts."""
    seen = conn.execute(_SEEN_IN, {"case": case_id}).one_or_none()
    return seen.run if seen is not None and seen.run < seen.present_run else None


def report_out(conn: Connection, meet_id: MeetId, report_id: ReportId) -> ReportOut:
    """One report; NotFound for an id that is not of this meet."""
    row = _REPORT.first(conn, {"meet": meet_id, "report": report_id})
    if row is None:
        raise NotFound("There is no such report at this meet.")
    return _reports_out(conn, [row])[0]


def reports_of_official(
    conn: Connection, meet_id: MeetId, official_id: OfficialId
) -> list[ReportOut]:
    """An official's own reports, newest first, at most a hundred."""
    rows = conn.execute(_REPORTS_OF_OFFICIAL, {"meet": meet_id, "official": official_id})
    return _reports_out(conn, rows)


def reports_of_case(conn: Connection, case_id: CaseId) -> list[ReportOut]:
    """A case's reports in the order their flags came."""
    rows = conn.execute(_REPORTS_OF_CASE, {"case": case_id})
    return _reports_out(conn, rows)


def completed(conn: Connection, reports: Sequence[ReportOut]) -> list[ReportOut]:
    """The reports with their pictures, and with what became of the keys that signed them."""
    found = pictures_of(conn, [one.id for one in reports])
    keys = {one.attested.key for one in reports}
    revoked = revoked_of(conn, sorted(key for key in keys if key is not None))
    if not found and not revoked:
        return list(reports)
    return [
        one.model_copy(
            update={
                "pictures": found.get(one.id, []),
                "attested": as_revoked(one.attested, _revoked_before(one, revoked)),
            }
        )
        for one in reports
    ]


def _revoked_before(report: ReportOut, revoked: Mapping[KeyId, datetime]) -> datetime | None:
    """From when on the key that signed a report was revoked, where that is before it came."""
    key, came = report.attested.key, report.received_at
    return None if key is None or came is None else revoked_before(revoked.get(key), came)


def report_from(
    stored: Mapping[str, Any],
    official_name: str,
    team_name: str | None,
    case: CaseState = CaseState.OPEN,
) -> ReportOut:
    """A report as it goes over HTTP, from its stored columns, the names and its case's state; yet
    without pictures, which nobody can have added to a new one.
    """
    state = ReportState(stored["state"])
    return ReportOut(
        id=stored["id"],
        heat=stored["heat_id"],
        case=stored["case_id"],
        official=stored["official_id"],
        official_name=official_name,
        post=stored["post_id"],
        post_words=stored["post_words"],
        take_over=stored["take_over"],
        run=stored["run"],
        lane=stored["lane"],
        team=stored["team_id"],
        team_name=team_name,
        state=state,
        observation=stored["observation"],
        words=stored["words"],
        marks=[Mark(mark) for mark in stored["marks"]],
        finding=finding_out(stored["finding"]) if stored["finding"] else None,
        clock=PhoneClock.model_validate(stored["clock"]) if stored["clock"] else None,
        attested=attested_out(stored["attested"]),
        raised_at=stored["raised_at"],
        received_at=stored["received_at"],
        remark=stored["remark"],
        came_as=stored["came_as"],
        pictures=[],
        possible=[act.value for act in possible_for(state, case)],
        version=stored["version"],
    )


def possible_for(state: ReportState, case: CaseState) -> list[ReportAct]:
    """What can happen to a report: an account is no longer taken back once its case is ruled on."""
    on_record = case is CaseState.RULED and state is not ReportState.RAISED
    too_late = ReportAct.WITHDRAW if on_record else None
    return [act for act in REPORT_TABLE.possible(state) if act is not too_late]


def _reports_out(conn: Connection, rows: Iterable[AnyRow]) -> list[ReportOut]:
    names = NamesOfRows(conn)
    return completed(conn, [_report_out(names, row) for row in rows])


def _report_out(names: NamesOfRows, row: AnyRow) -> ReportOut:
    stored = row._asdict() | {"marks": marks_now(row)}
    seen_by = names.then(row, row.received_at or row.raised_at)
    return report_from(stored, seen_by, row.team_name, CaseState(row.case_state))


def marks_now(row: Any) -> list[str]:
    """A report's marks, and whether its heat was held back or started again since."""
    return marks_by(row.marks, row.run, present_run(HeatState(row.heat_state), row.heat_run))


def marks_by(stored: Iterable[str], run: int, present: int) -> list[str]:
    """The marks of a report about a run of a heat, whose present run is this."""
    return [*stored, Mark.EARLIER_RUN.value] if run < present else list(stored)


def case_row(conn: Connection, meet_id: MeetId, case_id: CaseId) -> AnyRow:
    """A case's row with its heat, event and team; NotFound for an id not of this meet."""
    row = conn.execute(_CASE, {"meet": meet_id, "case": case_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such case at this meet.")
    return row


def cases_of_teams(
    conn: Connection, heat_id: HeatId, teams_asked: Iterable[TeamId | None]
) -> list[CaseId]:
    """The cases about these teams in a heat, in the order of their numbers."""
    asked = sorted({team for team in teams_asked if team is not None})
    return list(conn.execute(_OF_TEAMS, {"heat": heat_id, "teams": asked}).scalars())


def case_out(
    conn: Connection,
    meet_id: MeetId,
    case_id: CaseId,
    *,
    reports: Iterable[ReportOut],
    rulings: Iterable[RulingId],
    gone_on: Iterable[GoneOn],
) -> CaseOut:
    """A case with everything about it; NotFound for an id that is not of this meet."""
    row = case_row(conn, meet_id, case_id)
    state = CaseState(row.state)
    return CaseOut(
        id=row.id,
        number=row.number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        lane=row.lane,
        team=row.team_id,
        team_name=row.team_name,
        affiliation=row.affiliation,
        rehearsal=row.rehearsal,
        state=state,
        opened_at=row.opened_at,
        further_of=row.further_of,
        joined_to=row.joined_to,
        reports=list(reports),
        gone_on=list(gone_on),
        rulings=list(rulings),
        possible=[act.value for act in CASE_TABLE.possible(state)],
        version=row.version,
    )

"""The docket: the cases that await a ruling, oldest first, each with its reports in short."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import ColumnElement, Connection, and_, bindparam, func, literal_column, select

from app.cursors import after_place, cursor, split_cursor
from app.ids import MeetId
from app.reports.queries import CASE_COLUMNS, REPORT_LINES, marks_now
from app.reports.states import Mark, ReportState
from app.reports.tables import cases, reports
from app.reports.wire import AwaitedProtest, CaseLine, DocketOut, ReportLine, ToReconsider
from app.rules.observation import Infringement
from app.store.prepared import Prepared
from app.store.rows import AnyRow

DOCKET_PAGE = 50
REPORTS_IN_SHORT = 10

# Written out, not bound: only then does the engine know that the docket's own index will do.
_OPEN = and_(cases.c.meet_id == bindparam("meet"), cases.c.state == literal_column("'open'"))
_LATER = after_place(cases.c.opened_at, cases.c.id)
_OLDEST_FIRST = (cases.c.opened_at, cases.c.id)
_DOCKET_FIRST = Prepared(CASE_COLUMNS.where(_OPEN).order_by(*_OLDEST_FIRST).limit(DOCKET_PAGE + 1))
_DOCKET_NEXT = Prepared(
    CASE_COLUMNS.where(_OPEN, _LATER).order_by(*_OLDEST_FIRST).limit(DOCKET_PAGE + 1)
)
# With a bound that all keep: without one SQLite counts by an index of all cases of the meet.
_COUNT_OPEN = (
    select(func.count())
    .select_from(cases)
    .where(_OPEN, cases.c.opened_at >= bindparam("earliest", type_=cases.c.opened_at.type))
)
_EARLIEST = datetime.min.replace(tzinfo=UTC)


def _reports_on(*where: ColumnElement[bool]) -> Prepared:
    """The reports of the cases on a page, case by case, withdrawn ones last.

    All of them: an umpire writes few about a team in a heat, and the service takes no more than
    fifty. Numbering them in the database made the docket slower as the meet grew (measured: 1.28
    times as long with 100,000 reports as with 100; so it is 1.0 to 1.1).
    """
    page = select(cases.c.id).where(*where).order_by(*_OLDEST_FIRST).limit(DOCKET_PAGE)
    withdrawn = reports.c.state == ReportState.WITHDRAWN.value
    return Prepared(
        REPORT_LINES.where(reports.c.case_id.in_(page)).order_by(
            reports.c.case_id, withdrawn, reports.c.raised_at, reports.c.id
        )
    )


_REPORTS_ON_FIRST = _reports_on(_OPEN)
_REPORTS_ON_NEXT = _reports_on(_OPEN, _LATER)


def docket(
    conn: Connection,
    meet_id: MeetId,
    after: str | None,
    to_reconsider: Iterable[ToReconsider] = (),
    protests: Iterable[AwaitedProtest] = (),
) -> DocketOut:
    """The open cases, oldest first, fifty a page, each with its reports in short.

    Which rulings are to be looked at again, and which protests await the referee, whoever knows
    of these has found out.
    """
    values: dict[str, Any] = {"meet": meet_id}
    if after is None:
        rows = _DOCKET_FIRST.all(conn, values)
        reported = _REPORTS_ON_FIRST.all(conn, values)
    else:
        values |= _place_in_docket(after)
        rows = _DOCKET_NEXT.all(conn, values)
        reported = _REPORTS_ON_NEXT.all(conn, values)
    page, more = rows[:DOCKET_PAGE], len(rows) > DOCKET_PAGE
    by_case = {case: list(those) for case, those in groupby(reported, key=lambda row: row.case_id)}
    count = len(rows)
    if more or after is not None:
        count = conn.execute(_COUNT_OPEN, {"meet": meet_id, "earliest": _EARLIEST}).scalar_one()
    return DocketOut(
        protests=list(protests),
        to_reconsider=list(to_reconsider),
        cases=[_case_line(row, by_case.get(row.id, [])) for row in page],
        open=count,
        next=cursor(page[-1].opened_at, page[-1].id) if more else None,
    )


def _place_in_docket(after: str) -> Mapping[str, Any]:
    at, place = split_cursor(after, "after")
    return {"at": at, "place": place}


def _report_line(row: Any) -> ReportLine:
    finding = row.finding or {}
    return ReportLine(
        id=row.id,
        official_name=row.official_name,
        post_words=row.post_words,
        take_over=row.take_over,
        state=ReportState(row.state),
        seen=Infringement(finding["infringement"]) if finding else None,
        outcome=finding.get("outcome"),
        rule=finding.get("rule"),
        marks=[Mark(mark) for mark in marks_now(row)],
    )


def _case_line(row: AnyRow, reported: list[Any]) -> CaseLine:
    return CaseLine(
        id=row.id,
        number=row.number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        lane=row.lane,
        team=row.team_id,
        team_name=row.team_name,
        rehearsal=row.rehearsal,
        opened_at=row.opened_at,
        further_of=row.further_of,
        reports=[_report_line(one) for one in reported[:REPORTS_IN_SHORT]],
        reports_in_all=len(reported),
        version=row.version,
    )

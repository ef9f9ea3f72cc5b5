"""Which flag does an account belong to that comes under an id of its own?

A phone may show yellow without naming the report that will follow, and the head of the crew calls
for a post by radio. Then whoever writes the account does not know the id under which it is awaited
and chooses one. The account stands in the place of what the flag raised; that is kept, no longer
stands, and names the account. Where a phone writes to it all the same, it is written.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import bindparam, literal_column, or_, select, update

from app.ids import CaseId, OfficialId, ReportId
from app.reports.states import REPORT_TABLE, ReportAct, ReportState
from app.reports.tables import calls, reports
from app.reports.wire import ReportIn
from app.store.action import Unit
from app.store.prepared import Prepared, Question
from app.store.rows import AnyRow

# The state is written out, not bound: only then does the engine know that the index of raised
# reports will do.
_RAISED = (
    select(reports, calls.c.official_id.label("called_by"))
    .join(calls, calls.c.report_id == reports.c.id)
    .where(
        reports.c.heat_id == bindparam("heat"),
        reports.c.official_id == bindparam("official"),
        reports.c.state == literal_column("'raised'"),
        reports.c.post_id == bindparam("post"),
        or_(reports.c.lane == bindparam("lane"), reports.c.lane.is_(None)),
        calls.c.names_report.is_(False),
    )
)
_IN_ORDER = (reports.c.lane.is_(None), reports.c.raised_at, reports.c.id)
_AWAITED = Prepared(_RAISED.where(reports.c.run == bindparam("run")).order_by(*_IN_ORDER))
_AWAITED_BEFORE = Prepared(
    _RAISED.where(reports.c.run < bindparam("run"))
    .order_by(reports.c.run.desc(), *_IN_ORDER)
    .limit(1)
)
_GIVE_FLAGS = Prepared(
    update(calls)
    .where(calls.c.report_id == bindparam("raised"))
    .values(report_id=bindparam("written"))
)
_STAND_BACK = Prepared(
    update(reports)
    .where(reports.c.id == bindparam("raised"))
    .values(
        state=bindparam("now"),
        case_id=bindparam("now_in"),
        came_as=bindparam("written"),
        remark=bindparam("why"),
        version=reports.c.version + 1,
    )
)
_CALLED_BY = Prepared(
    select(calls.c.id)
    .where(calls.c.report_id == bindparam("report"), calls.c.official_id == bindparam("official"))
    .limit(1)
)


def flags_first_awaited(sent: ReportIn, by: OfficialId) -> Question:
    """What is asked about an account of a heat's first run, as nearly all are."""
    return _awaited(sent, 1, by)


def _awaited(sent: ReportIn, run: int, by: OfficialId) -> Question:
    where = {"heat": sent.heat, "official": by, "post": sent.post, "run": run, "lane": sent.lane}
    return _AWAITED, where


def awaited_flags(
    unit: Unit, sent: ReportIn, run: int, by: OfficialId, known: AnyRow | None
) -> Sequence[AnyRow]:
    """What this official's flag from the same post raised under another id than the account's.

    For an account that nothing was raised for (`known`) that is the flag of the same lane, else the
    oldest whose lane is not known. A flag that was both shown and told by radio is one flag, if
    both were for this lane. None for an own observation.
    """
    if sent.post is None:
        return ()
    asked, where = _awaited(sent, run, by)
    found = asked.all(unit.conn, where)
    first = [one for one in found if known is None or one.id == known.id][:1]
    if not found:
        return ()
    by_radio = bool(first) and first[0].called_by != by
    the_other_way = [
        one
        for one in found
        if one.id != (known or first[0]).id
        and one.lane is not None
        and (one.called_by != by) != by_radio
    ]
    return [*(first if known is None else []), *the_other_way[:1]]


def run_awaited(unit: Unit, sent: ReportIn, run: int, by: OfficialId) -> int:
    """The run that a new account is about whose flag raised it under another id.

    Where this run has no such flag and an earlier one has, it is the earlier: taken for this one, a
    recalled start would disqualify in the race that was run again, and nobody would be asked.
    """
    if sent.post is None or run == 1:
        return run
    asked, where = _awaited(sent, run, by)
    if asked.first(unit.conn, where) is not None:
        return run
    before = _AWAITED_BEFORE.first(unit.conn, where)
    return run if before is None else int(before.run)


def stand_in_place_of(unit: Unit, raised: AnyRow, written: ReportId, case_id: CaseId) -> None:
    """Give the flag to its account, and let what it raised stand no longer."""
    step = REPORT_TABLE.step(ReportState(raised.state), ReportAct.WITHDRAW)
    _GIVE_FLAGS.run(unit.conn, {"raised": raised.id, "written": written})
    _STAND_BACK.run(
        unit.conn,
        {
            "raised": raised.id,
            "written": written,
            "now": step.becomes.value,
            "now_in": case_id,
            "why": f"The account of this flag came as report {written}.",
        },
    )


def has_stood_back(known: AnyRow) -> bool:
    """Whether the account of this flag came as another report, and none came under this id."""
    return known.came_as is not None and known.content is None


def is_called_by(unit: Unit, known: AnyRow, official_id: OfficialId) -> bool:
    """Whether this official showed the flag of a report whose account has not come."""
    where = {"report": known.id, "official": official_id}
    return known.state == ReportState.RAISED and _CALLED_BY.first(unit.conn, where) is not None

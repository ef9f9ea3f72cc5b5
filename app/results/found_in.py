"""What is there of a heat beside its lanes: reported, ruled, decided or noted?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, bindparam, select

from app.appeals.states import AppealState, ProtestState
from app.appeals.tables import appeals, decisions, protests
from app.ids import HeatId
from app.meets.wire import HeatOut
from app.reports.tables import calls, cases, reports
from app.results.tables import announcements, results
from app.rounds.tables import re_runs
from app.rulings.tables import disqualifications, rulings


def _any(id_: ColumnElement[Any], *where: ColumnElement[bool]) -> ColumnElement[bool]:
    return select(id_).where(*where).exists()


_MEANT: ColumnElement[str] = bindparam("heat")
_FOUND_IN = select(
    _any(re_runs.c.id, re_runs.c.run_heat_id == _MEANT),
    _any(re_runs.c.id, re_runs.c.heat_id == _MEANT, re_runs.c.state == "in force"),
    _any(announcements.c.id, announcements.c.heat_id == _MEANT),
    _any(
        reports.c.id,
        reports.c.case_id == cases.c.id,
        cases.c.heat_id == _MEANT,
        reports.c.state != "withdrawn",
    ),
    _any(cases.c.id, cases.c.heat_id == _MEANT, cases.c.state == "open"),
    _any(
        rulings.c.id,
        rulings.c.heat_id == _MEANT,
        rulings.c.verdict == "confirmed",
        rulings.c.replaced_by.is_(None),
    ),
    _any(
        disqualifications.c.id,
        disqualifications.c.heat_id == _MEANT,
        disqualifications.c.state == "in force",
    ),
    _any(calls.c.id, calls.c.heat_id == _MEANT),
    _any(results.c.heat_id, results.c.heat_id == _MEANT),
)
_CARRIED_OUT = (
    select(decisions.c.carried_out)
    .where(decisions.c.heat_id == bindparam("heat"), decisions.c.replaced_by.is_(None))
    .order_by(decisions.c.seq)
)
_PROTESTS = (
    select(protests.c.number, protests.c.lodged_at)
    .where(protests.c.heat_id == bindparam("heat"), protests.c.state == ProtestState.LODGED.value)
    .order_by(protests.c.number)
)
_APPEALS = (
    select(appeals.c.number, protests.c.lodged_at)
    .join(protests, protests.c.id == appeals.c.protest_id)
    .where(appeals.c.heat_id == bindparam("heat"), appeals.c.state == AppealState.LODGED.value)
    .order_by(appeals.c.number)
)
_BY_JURY = (
    select(appeals.c.number, decisions.c.statement)
    .join(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(decisions.c.heat_id == bindparam("heat"), decisions.c.replaced_by.is_(None))
    .order_by(appeals.c.number)
)


class FoundIn(NamedTuple):
    """What there is of a heat beside its lanes. A re-run's heat repeats another, or is repeated."""

    is_re_run: bool
    is_repeated: bool
    announced: bool
    standing_reports: bool
    open_cases: bool
    confirmed: bool
    disqualified: bool
    flags: bool
    finish_list: bool


def found_in(conn: Connection, heat_id: HeatId) -> FoundIn:
    """Whether anybody has reported, ruled, decided or noted anything of a heat."""
    return FoundIn(*map(bool, conn.execute(_FOUND_IN, {"heat": heat_id}).one()))


def decisions_carried_out(conn: Connection, heat_id: HeatId) -> list[Mapping[str, Any]]:
    """What the decisions on a heat that stand have done, in their order."""
    rows = conn.execute(_CARRIED_OUT, {"heat": heat_id}).scalars()
    return [kept for carried_out in rows for kept in carried_out]


def contested(conn: Connection, known: HeatOut) -> Iterator[str]:
    """What is open about a heat's present run, and what the jury has decided about it, in words.
    What was lodged before that run was started is about another one.
    """
    asked, since = {"heat": known.id}, known.started_at
    for number, lodged_at in conn.execute(_PROTESTS, asked).all():
        if since is None or lodged_at >= since:
            yield f"protest {number} awaits the referee"
    for number, lodged_at in conn.execute(_APPEALS, asked).all():
        if since is None or lodged_at >= since:
            yield f"appeal {number} awaits the jury"
    for number, statement in conn.execute(_BY_JURY, asked).all():
        # Before the run was kept with the decision, nobody can say that it was another one.
        if statement.get("run") in {None, known.present_run}:
            yield f"the jury has decided on appeal {number}, and that is final"

"""What the jury has decided about a team is not ruled on again through a fresh report.

World Athletics TR8.11: the jury's decision is final. A further report of the same matter, that is
of the same infringement at the same take-over in the same run, changes nothing by itself; new
conclusive evidence is for the jury to look at (TR8.9, from memory). What is reported of another
matter is ruled on as ever, and what the referee alone decided, the referee may look at again
(CR18.6, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from app.ids import HeatId, TeamId
from app.refusals import StateConflict
from app.reports.queries import reports_of_case
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rulings.queries import dismissals_jury_let_stand, set_aside_by_jury
from app.store.rows import AnyRow


def insist_jury_has_not_decided(
    conn: Connection, case: AnyRow, infringement: Infringement, reports: Sequence[ReportOut]
) -> None:
    """StateConflict where confirming this would pass over a decision of the jury."""
    heat, team = HeatId(case.heat_id), TeamId(case.team_id)
    seen = _take_overs(reports, infringement)
    for decided in set_aside_by_jury(conn, heat, team):
        is_it = decided.infringement == infringement and decided.run == case.present_run
        if is_it and _may_be_one(seen, {decided.take_over}):
            raise _final(decided.appeal, infringement, "has set this disqualification aside")
    for dismissed in dismissals_jury_let_stand(conn, heat, team):
        told = _take_overs(reports_of_case(conn, dismissed.case), infringement)
        if told and dismissed.run == case.present_run and _may_be_one(seen, told):
            raise _final(dismissed.appeal, infringement, "has let stand that this was dismissed")


def _take_overs(reports: Sequence[ReportOut], infringement: Infringement) -> set[int | None]:
    """The take-overs at which the reports that stand tell of an infringement."""
    return {
        report.take_over
        for report in reports
        if report.state is not ReportState.WITHDRAWN
        and report.finding is not None
        and report.finding.infringement is infringement
    }


def _may_be_one(one: set[int | None], other: set[int | None]) -> bool:
    """Whether two accounts may be of one matter: a take-over that is not known may be any."""
    return not one or None in one | other or bool(one & other)


def _final(appeal: int, infringement: Infringement, what: str) -> StateConflict:
    return StateConflict(
        f"The jury {what} (appeal {appeal}; {title_of(infringement).lower()}), and its "
        "decision is final (World Athletics TR8.11). Dismiss this case; with new conclusive "
        "evidence the jury can reopen its decision.",
        appeal=appeal,
    )

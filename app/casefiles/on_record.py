"""Is all that a case file is drawn from what the record says of it?"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection

from app.appeals.as_recorded import drawn_from_protest
from app.appeals.decision_papers import kept_of_decision
from app.appeals.decision_queries import decision_row
from app.casefiles.queries import reports_in
from app.casefiles.scope import Scope
from app.ids import ReportId
from app.reports.as_recorded import drawn_from_report
from app.rulings.as_ruled import gone_from
from app.rulings.form import kept_of_ruling
from app.rulings.queries import stored_form
from app.sealing.as_signed import insist_as_recorded, insist_as_signed
from app.sealing.left_rows import Drawn


def insist_on_record(conn: Connection, scope: Scope) -> None:
    """NotAsSigned where a report, a ruling, a protest, a decision or an appeal of a file is not."""
    for ruling in scope.rulings:
        kept = kept_of_ruling(ruling, stored_form(conn, scope.meet, ruling))
        insist_as_signed(conn, scope.meet, kept)
    for decision in scope.decisions:
        insist_as_signed(
            conn, scope.meet, kept_of_decision(decision_row(conn, scope.meet, decision))
        )
    insist_as_recorded(conn, scope.meet, _drawn(conn, scope))


def _drawn(conn: Connection, scope: Scope) -> Iterator[Drawn]:
    gone = (one.report for case in scope.cases for one in gone_from(conn, scope.meet, case))
    for report in dict.fromkeys([*reports_in(conn, scope.cases), *gone]):
        yield drawn_from_report(conn, scope.meet, ReportId(report))
    for protest in scope.protests:
        yield from drawn_from_protest(conn, scope.meet, protest)

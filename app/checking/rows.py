"""Is what ordinary rows say what the record's entries say of them?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection

from app.checking.account import Account
from app.checking.queries import all_calls, all_reports, all_signatures
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about, committed_of_kinds
from app.reports.as_recorded import (
    OF_CALLS,
    OF_REPORTS,
    CallsTold,
    ReportsTold,
    says_of_call,
    says_of_report,
)
from app.sealing.left_rows import Erasures, Sort, Tale
from app.sealing.signed_rows import OF_SIGNATURES, SignedActs, says_of_signature

SORTS = (
    Sort("signature", "signatures", OF_SIGNATURES, SignedActs, all_signatures, says_of_signature),
    Sort("report", "reports", OF_REPORTS, ReportsTold, all_reports, says_of_report),
    Sort("flag", "calls", OF_CALLS, CallsTold, all_calls, says_of_call),
)


def rows_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Rows that are gone, or that the record tells otherwise."""
    erasures = Erasures.of(committed_about(conn, account.meet, Kind.ERASED, account.meet))
    for sort in SORTS:
        tale = tale_of(sort, committed_of_kinds(conn, account.meet, sort.kinds))
        for row in sort.rows(conn, account.meet):
            account.held[sort.name] += 1
            if not tale.tell(row, erasures):
                yield f"the {sort.name} {row['id']}: the record tells it otherwise"
        for what in tale.missing():
            yield f"{what}: the record tells of it, and it is not there"


def tale_of(sort: Sort, entries: Iterable[Sound]) -> Tale:
    """What these entries say of a sort of rows."""
    tale = sort.begin()
    for one in entries:
        tale.add(one)
    return tale

"""Is what ordinary rows say what the record's entries say of them?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sqlalchemy import Connection

from app.appeals.as_recorded import OF_APPEALS, OF_PROTESTS, AppealsTold, ProtestsTold
from app.checking.account import Account
from app.checking.queries import (
    all_appeals,
    all_calls,
    all_protests,
    all_reports,
    all_signatures,
)
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about, committed_of_kinds
from app.reports.as_recorded import (
    OF_CALLS,
    OF_REPORTS,
    CallsTold,
    ReportsTold,
)
from app.sealing.left_rows import Erasures, Sort, Tale, learn
from app.sealing.signed_rows import OF_SIGNATURES, SignedActs

SORTS = (
    Sort("signature", "signatures", OF_SIGNATURES, SignedActs, all_signatures),
    Sort("report", "reports", OF_REPORTS, ReportsTold, all_reports),
    Sort("flag", "calls", OF_CALLS, CallsTold, all_calls),
    Sort("protest", "protests", OF_PROTESTS, ProtestsTold, all_protests),
    Sort("appeal", "appeals", OF_APPEALS, AppealsTold, all_appeals),
)


def rows_amiss(conn: Connection, account: Account) -> Iterator[str]:
    """Rows that are gone, or that the record tells otherwise."""
    erasures = Erasures.of(committed_about(conn, account.meet, Kind.ERASED, account.meet))
    for sort in SORTS:
        tale = sort.begin()
        for one in learn(tale, committed_of_kinds(conn, account.meet, sort.kinds)):
            yield f"entry {one.seq}, {one.kind}: it does not say what such an entry says"
        for row in sort.rows(conn, account.meet):
            parts = list(tale.parts(row))
            is_told = all(part.is_told for part in parts)
            (account.held if is_told else account.left)[sort.name] += 1
            if not all(part.holds(erasures) for part in parts):
                yield f"the {sort.name} {row['id']}: the record tells it otherwise"
        for what in tale.missing():
            yield f"{what}: the record tells of it, and it is not there"


def tale_of(sort: Sort, entries: Iterable[Sound]) -> Tale:
    """What these entries say of a sort of rows."""
    tale = sort.begin()
    learn(tale, entries)
    return tale

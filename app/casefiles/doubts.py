"""What was signed with a key that is revoked from before that, and so does not show who signed?

A lost phone is told of where a reader looks first: on the cover, and over what was signed with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime

from sqlalchemy import Connection

from app.access.pen import revoked_before
from app.access.queries import signatures_on
from app.appeals.decision_queries import decision_row
from app.appeals.signed import BESIDE
from app.casefiles.scope import Scope
from app.casefiles.told_cases import Cases
from app.clock import at_the_meet
from app.meets.queries import MeetFacts

Doubts = Mapping[str, str]
"""By the id of a report, a ruling or a decision."""


def doubts_about(
    conn: Connection, meet: MeetFacts, scope: Scope, cases: Cases, called: Mapping[str, str]
) -> Doubts:
    """A sentence for each report, ruling and decision that was signed so; none for all others.
    `called` says what things are called on paper, by their ids.
    """
    since = {**_of_reports(cases), **dict(_of_signatures(conn, meet, scope))}
    names = dict(_names(conn, scope, called))
    return {one: _sentence(names[one], start, meet.time_zone) for one, start in since.items()}


def _of_reports(cases: Cases) -> dict[str, datetime]:
    since = {one.id: one.attested.key_revoked_from for one in cases.reports.values()}
    return {ident: start for ident, start in since.items() if start is not None}


def _of_signatures(
    conn: Connection, meet: MeetFacts, scope: Scope
) -> Iterator[tuple[str, datetime]]:
    asked = (("ruling", scope.rulings), ("decision", scope.decisions), (BESIDE, scope.decisions))
    for act, subjects in asked:
        for row in signatures_on(conn, meet.id, act, subjects):
            since = revoked_before(row.revoked_from, row.signed_at)
            if since is not None:
                yield row.subject, since


def _names(conn: Connection, scope: Scope, called: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    rulings = set(scope.rulings)
    for ident, name in called.items():
        yield ident, f"The ruling on {_within(name)}" if ident in rulings else name
    for decision in scope.decisions:
        row = decision_row(conn, scope.meet, decision)
        about = called[row.appeal_id or row.protest_id]
        yield decision, f"The decision of the {row.instance} on {_within(about)}"


def _within(name: str) -> str:
    return f"{name[:1].lower()}{name[1:]}"


def _sentence(what: str, since: datetime, zone: str) -> str:
    return (
        f"{what} was signed with a key that is revoked from {at_the_meet(since, zone)} on, before "
        "it was signed: this signature does not show who signed."
    )

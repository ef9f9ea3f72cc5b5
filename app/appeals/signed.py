"""Who has signed decisions, and with what: the referee, or the jury's chair and its secretary."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from sqlalchemy import Connection

from app.access.names import name_then
from app.access.pen import BY_PIN, Strength, in_words, revoked_before
from app.access.queries import signatures_on
from app.appeals.wire import DecisionOut, Instance, SignedByOut, SignedRole
from app.ids import DecisionId, MeetId
from app.store.rows import AnyRow

DECIDED, BESIDE = "decision", "decision signature"
"""Under which acts these signatures are kept."""


def signed_by(
    conn: Connection, meet_id: MeetId, made: Sequence[DecisionOut]
) -> Mapping[DecisionId, list[SignedByOut]]:
    """The signatures on each of these decisions, the one who decided first."""
    first = {row.subject: row for row in _signatures(conn, meet_id, DECIDED, made)}
    found = {one.id: [_decided(conn, one, first.get(one.id))] for one in made}
    by_jury = [one for one in made if one.instance == Instance.JURY]
    for row in _signatures(conn, meet_id, BESIDE, by_jury):
        found[row.subject].append(_signed(conn, "secretary", row))
    return found


def _signatures(
    conn: Connection, meet_id: MeetId, act: str, made: Iterable[DecisionOut]
) -> list[AnyRow]:
    subjects = [one.id for one in made]
    return signatures_on(conn, meet_id, act, subjects) if subjects else []


def _decided(conn: Connection, made: DecisionOut, row: AnyRow | None) -> SignedByOut:
    """Who decided; before signatures were kept, a PIN was the only way."""
    role: SignedRole = "referee" if made.instance == Instance.REFEREE else "chair"
    if row is not None:
        return _signed(conn, role, row)
    return SignedByOut(
        role=role,
        official=made.official,
        official_name=made.official_name,
        strength=Strength.PIN.value,
        key_revoked_from=None,
        how=BY_PIN,
        statement_sha256=made.statement_digest,
        signed_at=made.decided_at,
    )


def _signed(conn: Connection, role: SignedRole, row: AnyRow) -> SignedByOut:
    return SignedByOut(
        role=role,
        official=row.official_id,
        official_name=name_then(conn, row, row.signed_at),
        strength=row.strength,
        key_revoked_from=revoked_before(row.revoked_from, row.signed_at),
        how=in_words(row),
        statement_sha256=row.statement_sha256,
        signed_at=row.signed_at,
    )

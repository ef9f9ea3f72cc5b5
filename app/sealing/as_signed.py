"""Is what a paper is drawn from still what was signed?

What a ruling, a decision or an announcement tells is fixed when it is signed, and lies in the
database. The record's entry of that act has the signed statement, which names the digest of the
form, and a digest of all that was fixed, with what only the storing knew. An erasure that takes a
name out of it says in its own entry what it became. Both are held against the entry's commitment,
and the entries against a signed head (`rewriting.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection

from app.ids import MeetId
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about
from app.refusals import NotAsSigned
from app.sealing.left_rows import Drawn, Erasures
from app.sealing.signed_rows import has_its_signatures
from app.sealing.told import Kept
from app.store.rows import AnyRow

CHANGED = (
    "What this paper would tell is no longer what was signed: somebody has changed the database "
    "behind the record. Nothing was sealed. Keep the database as it is, have it looked at with "
    "`check --database`, and go by a paper that was sealed before."
)


def insist_as_signed(conn: Connection, meet: MeetId, kept: Kept) -> None:
    """NotAsSigned where what is stored of an act, or of who signed it how, is not what the record
    says of it.
    """
    if not (is_as_signed(conn, meet, kept) and has_its_signatures(conn, meet, kept)):
        raise NotAsSigned(CHANGED)


def insist_as_recorded(conn: Connection, meet: MeetId, drawn: Iterable[Drawn]) -> None:
    """NotAsSigned where a row that a paper is drawn from is not what the record says of it."""

    def erasures() -> Erasures:
        return Erasures.of(committed_about(conn, meet, Kind.ERASED, meet))

    if not all(one.is_told(erasures) for one in drawn):
        raise NotAsSigned(CHANGED)


def insist_as_sealed(conn: Connection, meet: MeetId, edition: AnyRow) -> None:
    """NotAsSigned where the bytes of a sealed edition are not those that the record tells of."""
    sealed = committed_about(conn, meet, Kind.PAPER_SEALED, edition.id)
    told = {one.body.get("sha256") for one in sealed if one.body is not None}
    if sha256(edition.content).hexdigest() not in told:
        raise NotAsSigned(CHANGED)


def is_as_signed(conn: Connection, meet: MeetId, kept: Kept) -> bool:
    """Whether the record tells of what is stored: as it was signed, or as an erasure left it."""
    made = committed_about(conn, meet, kept.kind, kept.about)
    if any(_is_told_by(one.body, kept) for one in made):
        return True
    erasures = committed_about(conn, meet, Kind.ERASED, meet)
    return any(_left_it_so(one, made, kept) for one in erasures)


def as_told_by_erasure(kept: Kept, facts: Mapping[str, Any]) -> dict[str, str]:
    """What an erasure's entry says of an act whose facts it changes to these."""
    return {
        "of": kept.act,
        "statement_sha256": kept.statement_sha256,
        "facts_sha256": digest_of(facts),
    }


def _is_told_by(body: Mapping[str, Any] | None, kept: Kept) -> bool:
    if body is None:
        return False
    if "statement" not in body:
        return _was_told_by(body, kept)
    statement = body["statement"]
    return (
        digest_of(statement) == body.get("statement_sha256") == kept.statement_sha256
        and (kept.form_sha256 is None or statement.get("form_sha256") == _form_digest(kept))
        and ("facts_sha256" not in body or body["facts_sha256"] == digest_of(kept.facts))
    )


def _form_digest(kept: Kept) -> str:
    """What the statement should name; empty where what is stored has another shape by now."""
    assert kept.form_sha256 is not None
    try:
        return kept.form_sha256(kept.facts)
    except (AttributeError, LookupError, TypeError):
        return ""


def _was_told_by(body: Mapping[str, Any], kept: Kept) -> bool:
    """The same of entries of before, which were the statement itself, or all that was announced."""
    facts = digest_of(kept.facts)
    if kept.form_sha256 is None:
        return digest_of(body) == facts
    is_named = body.get("form_sha256") in {None, facts}
    return is_named and body.get("statement_sha256") == kept.statement_sha256


def _left_it_so(erasure: Sound, made: list[Sound], kept: Kept) -> bool:
    """Whether an erasure says that it left the facts so; one of before that was kept says nothing
    of any.
    """
    if erasure.body is None:
        return False
    if "left_as" not in erasure.body:
        return any(one.seq < erasure.seq for one in made)
    return as_told_by_erasure(kept, kept.facts) in erasure.body["left_as"]

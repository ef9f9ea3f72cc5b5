"""Is what a paper is drawn from still what was signed?

What a ruling, a decision or an announcement tells is fixed when it is signed, and lies in the
database. The record's entry of that act has the signed statement, which names the digest of the
form, and a digest of all that was fixed, with what only the storing knew. An erasure that takes a
name out of it says in its own entry what it became, and from then on that counts alone. Both are
held against the entry's commitment, and the entries against a signed head (`rewriting.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Left:
    """What erasures say of facts that they changed: the last word of each act by its id, and the
    place of the last one of before, which says nothing of any; 0 where there is none.
    """

    last: Mapping[str, dict[str, str]]
    unsaid: int


def what_erasures_left(conn: Connection, meet: MeetId) -> Left:
    """What all erasures of a meet say; of an act that several name the last one counts alone."""
    last: dict[str, dict[str, str]] = {}
    unsaid = 0
    for erasure in committed_about(conn, meet, Kind.ERASED, meet):
        if erasure.body is None:
            continue
        if "left_as" not in erasure.body:
            unsaid = erasure.seq
        told = erasure.body.get("left_as")
        named = (one for one in (told if isinstance(told, list) else ()) if isinstance(one, dict))
        last |= {str(one.get("of")): one for one in named}
    return Left(last, unsaid)


def is_as_signed(conn: Connection, meet: MeetId, kept: Kept, left: Left | None = None) -> bool:
    """Whether the record tells of what is stored: as it was signed, or as the last erasure left it
    that names the act. Who asks for many acts hands in what erasures left.
    """
    left = left or what_erasures_left(conn, meet)
    if kept.act in left.last:
        return left.last[kept.act] == as_told_by_erasure(kept, kept.facts)
    made = _entry_of(kept, committed_about(conn, meet, kept.kind, kept.about))
    if made is None:
        return False
    return made.seq < left.unsaid if made.body is None else _is_told_by(made.body, kept)


def _entry_of(kept: Kept, made: Sequence[Sound]) -> Sound | None:
    """The entry of an act among all about its subject: the first, so that nobody adds a word of
    their own later. About one protest or appeal several decisions may be made, which say which.
    """
    if kept.kind in {Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED}:
        for one in made:
            if one.body is not None and one.body.get("decision", kept.act) == kept.act:
                return one
        made = [one for one in made if one.body is None]
    return next(iter(made), None)


def as_told_by_erasure(kept: Kept, facts: Mapping[str, Any]) -> dict[str, str]:
    """What an erasure's entry says of an act whose facts it changes to these."""
    return {
        "of": kept.act,
        "statement_sha256": kept.statement_sha256,
        "facts_sha256": _digest(facts),
    }


def _is_told_by(body: Mapping[str, Any] | None, kept: Kept) -> bool:
    if body is None:
        return False
    if "statement" not in body:
        return _was_told_by(body, kept)
    statement = body["statement"]
    return (
        isinstance(statement, dict)
        and _digest(statement) == body.get("statement_sha256") == kept.statement_sha256
        and (kept.form_sha256 is None or statement.get("form_sha256") == _form_digest(kept))
        and ("facts_sha256" not in body or body["facts_sha256"] == _digest(kept.facts))
    )


def _digest(document: object) -> str:
    """The digest; empty for what has none, as a number that no form holds."""
    try:
        return digest_of(document)
    except (ValueError, TypeError, RecursionError):
        return ""


def _form_digest(kept: Kept) -> str:
    """What the statement should name; empty where what is stored has another shape by now."""
    assert kept.form_sha256 is not None
    try:
        return kept.form_sha256(kept.facts)
    except (AttributeError, LookupError, TypeError, ValueError):
        return ""


def _was_told_by(body: Mapping[str, Any], kept: Kept) -> bool:
    """The same of entries of before, which were the statement itself, or all that was announced."""
    facts = _digest(kept.facts)
    if kept.form_sha256 is None:
        return _digest(body) == facts
    is_named = body.get("form_sha256") in {None, facts}
    return is_named and body.get("statement_sha256") == kept.statement_sha256

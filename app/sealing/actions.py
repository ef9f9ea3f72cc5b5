"""What the server does with a seal: it takes one into use, and keeps what was sealed with it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert

from app.forms.level import Level
from app.ids import MeetId, PaperId, SealId, new_id
from app.record.checkpoints import SignedHead
from app.record.kinds import Kind
from app.record.log import Head
from app.record.queries import was_erased_since
from app.record.tables import checkpoints
from app.refusals import StateConflict, Unavailable
from app.sealing.queries import (
    Place,
    highest_edition,
    last_edition,
    seal_in_use,
    seals_of,
    signed_head,
)
from app.sealing.tables import papers, seals
from app.sealing.wire import SealOut
from app.store.action import Action, Actor, Deed, Done, Unit
from app.store.rows import AnyRow
from app.store.upsert import insert_or_keep

SERVER = Actor("server")
"""Who acts where nobody is asked: sealing follows from what people did."""


@dataclass(frozen=True, slots=True)
class PublicSeal:
    """The public half of a seal."""

    certificates: str
    fingerprint: str
    verifier_key: str


@dataclass(frozen=True, slots=True)
class SealedPaper:
    """A paper that has been sealed and is to be kept; `after` is the edition that was the last one
    when its facts were read, 0 where there was none.
    """

    facts: dict[str, Any]
    facts_sha256: str
    content: bytes
    sha256: str
    seal: SealOut
    head: Head
    after: int
    level: Level


def take_into_use(made: PublicSeal, *, instead_because: str = "") -> Action[SealOut]:
    """Seal with this one from now on. Where there is one already, it stays, unless it is said why
    this one comes in its place. StateConflict for one that another has replaced before.
    """

    def act(unit: Unit) -> Done[SealOut]:
        insist_not_replaced(unit.conn, unit.meet_id, made)
        known = seals_of(unit.conn, unit.meet_id).seals
        if known and (not instead_because or known[-1].fingerprint == made.fingerprint):
            return Done(known[-1], None)
        ident, number = SealId(new_id()), len(known) + 1
        unit.conn.execute(
            insert(seals).values(
                id=ident,
                meet_id=unit.meet_id,
                number=number,
                certificates=made.certificates,
                fingerprint=made.fingerprint,
                verifier_key=made.verifier_key,
                made_at=unit.now,
            )
        )
        body = {
            "because": instead_because,
            "certificates": made.certificates,
            "fingerprint": made.fingerprint,
            "number": number,
            "verifier_key": made.verifier_key,
        }
        stored = seal_in_use(unit.conn, unit.meet_id)
        assert stored is not None
        return Done(stored, Deed(Kind.SEAL_MADE, ident, body))

    return act


def insist_not_replaced(conn: Connection, meet: MeetId, made: PublicSeal) -> None:
    """StateConflict for a seal that another has replaced: whoever was told that it is not used any
    more could not tell what it seals from then on from what was forged with it.
    """
    for former in seals_of(conn, meet).seals[:-1]:
        if former.fingerprint == made.fingerprint:
            raise StateConflict(
                f"This certificate was the meet's seal {former.number}, and another has replaced "
                "it since. A former seal does not come back: take another certificate."
            )


def keep_checkpoint(head: Head, note: str) -> Action[SignedHead]:
    """Keep a head that was signed; of two of one size the first stays, and is returned."""

    def act(unit: Unit) -> Done[SignedHead]:
        row = {"meet_id": unit.meet_id, "size": head.size, "root": head.root, "note": note}
        insert_or_keep(unit.conn, checkpoints, {**row, "made_at": unit.now})
        kept = signed_head(unit.conn, unit.meet_id, head.size)
        assert kept is not None
        return Done(kept, None)

    return act


def keep_paper(place: Place, sealed: SealedPaper) -> Action[bytes | None]:
    """Keep a sealed paper as the next edition, and return what is to be given out: where another
    request has sealed the same meanwhile, that one. None where it has sealed something else: what
    was read before that may be older, and must not become the newest edition. Editions count on
    from those that were erased.
    """

    def act(unit: Unit) -> Done[bytes | None]:
        if was_erased_since(unit.conn, unit.meet_id, sealed.head.size):
            raise Unavailable("Something was erased while this was drawn. Ask for it again.")
        last = last_edition(unit.conn, unit.meet_id, place)
        if last is not None and _is_no_better(sealed, last):
            return Done(bytes(last.content), None)
        if (last.edition if last is not None else 0) != sealed.after:
            return Done(None, None)
        ident = PaperId(new_id())
        row = _row(unit, ident, place, sealed)
        unit.conn.execute(insert(papers).values(row))
        body = {
            "edition": row["edition"],
            "head_size": sealed.head.size,
            "kind": place.kind,
            "fingerprint": sealed.seal.fingerprint,
            "level": sealed.level.value,
            "sha256": sealed.sha256,
            "sheet": place.sheet,
            "subject": place.subject,
        }
        return Done(sealed.content, Deed(Kind.PAPER_SEALED, ident, body))

    return act


def _is_no_better(sealed: SealedPaper, last: AnyRow) -> bool:
    """Whether the last edition tells the same, and its seal is stamped as well as this one."""
    same = last.facts_sha256 == sealed.facts_sha256
    return bool(same and not sealed.level.is_above(Level(last.level)))


def _row(unit: Unit, ident: PaperId, place: Place, sealed: SealedPaper) -> dict[str, Any]:
    return {
        "id": ident,
        "meet_id": unit.meet_id,
        "kind": place.kind,
        "subject": place.subject,
        "sheet": place.sheet,
        "edition": highest_edition(unit.conn, unit.meet_id, place) + 1,
        "facts_sha256": sealed.facts_sha256,
        "facts": sealed.facts,
        "content": sealed.content,
        "sha256": sealed.sha256,
        "seal_id": sealed.seal.id,
        "head_size": sealed.head.size,
        "level": sealed.level.value,
        "sealed_at": unit.now,
    }

"""What an export is to hold: a meet's whole record, or some of its entries with their proofs.

A part holds besides what its entries cannot be checked without: the seals, the keys that signed,
what was erased, and that the record was restored. Entries whose bodies it is not to hold stand in
it without them, proved all the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from app.exporting.queries import Recorded, entries_at, entries_of_kinds
from app.ids import MeetId
from app.record.kinds import Kind
from app.record.notes import NoteSigner
from app.refusals import NotFound
from app.sealing.rewriting import Agreement

DECIDED = (Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED)
SPOKEN_OF = (Kind.PAPER_SEALED, Kind.PICTURE_ADDED, Kind.ANNOUNCEMENT, Kind.RULING, *DECIDED)
REVOKING = (Kind.KEY_REVOKED, Kind.LEFT, Kind.LINK_REVOKED, Kind.PIN_CLEARED)
"""What revokes a device's key: somebody's word, or that its session ended."""
ALWAYS = frozenset({Kind.SEAL_MADE, Kind.RECORD_RESTORED})
"""Without these nobody can check a part: what seals, and which printed heads are not led to."""
NEEDED = (*sorted(ALWAYS), Kind.KEY_REGISTERED, Kind.ERASED, *REVOKING)


@dataclass(frozen=True, slots=True)
class Further:
    """A file that goes along with a part of a record: what it is, in words for the README, and the
    size of the record's head that it shows.
    """

    path: str
    content: bytes
    words: str
    head_size: int


@dataclass(frozen=True, slots=True)
class Order:
    """An export that somebody asks for: of which meet, when, signed by whom, and of which entries;
    all of them where none are named. A part may have a further file beside them, and further
    entries without their bodies: by their numbers what it says of each instead. Before anything is
    signed the record is held against what was signed before, as far as `agreement` has not done it.
    """

    meet: MeetId
    now: datetime
    signer: NoteSigner | None = None
    entries: frozenset[int] | None = None
    further: Further | None = None
    withheld: Mapping[int, Mapping[str, object]] = field(default_factory=dict)
    agreement: Agreement = field(default_factory=Agreement)


@dataclass(frozen=True, slots=True)
class Chosen:
    """The entries of a part, and those in it without their bodies; and of all entries in an export
    those that speak of files.
    """

    spoken_of: tuple[Recorded, ...]
    part: tuple[Recorded, ...] | None = None
    heads: frozenset[int] = field(default_factory=frozenset)
    withheld: tuple[Recorded, ...] = ()

    @property
    def numbers(self) -> list[int]:
        """The numbers of all entries of a part, first to last."""
        return sorted(one.seq for one in (*(self.part or ()), *self.withheld))

    def subjects(self, kind: Kind) -> set[str]:
        """What the entries of a kind are about."""
        return {one.subject for one in self.spoken_of if one.kind is kind}

    def told(self, kind: Kind, name: str) -> set[object]:
        """What the entries of a kind say under this name, where they were not erased."""
        bodies = (one.body for one in self.spoken_of if one.kind is kind)
        return {body[name] for body in bodies if name in body}

    def signed_forms(self) -> dict[str, str]:
        """By the id of a ruling or a decision, the digest of its form's facts that was signed; not
        of those whose bodies were erased.
        """
        ruled = ((one.subject, one.body) for one in self.spoken_of if one.kind is Kind.RULING)
        decided = (one.body for one in self.spoken_of if one.kind in DECIDED)
        both = (*ruled, *((body.get("decision"), body) for body in decided))
        said = ((ident, body.get("statement") or {}) for ident, body in both if ident is not None)
        return {ident: one["form_sha256"] for ident, one in said if "form_sha256" in one}


def choose(conn: Connection, order: Order) -> Chosen:
    """What an order is about; NotFound for an entry that the record does not have."""
    if order.entries is None:
        return Chosen(tuple(entries_of_kinds(conn, order.meet, SPOKEN_OF)))
    part = entries_at(conn, order.meet, order.entries)
    missing = order.entries - {one.seq for one in part}
    if missing or not part:
        raise NotFound(f"The record has no entry {min(missing, default=0)}.")
    needed = needed_for(conn, order.meet, part)
    both = {one.seq: one for one in (*part, *needed)}
    ordered = tuple(both[seq] for seq in sorted(both))
    chosen = Chosen(tuple(one for one in ordered if one.kind in SPOKEN_OF), ordered)
    printed = chosen.told(Kind.PAPER_SEALED, "head_size")
    sizes = {size for size in printed if isinstance(size, int)}
    if order.further is not None:
        sizes.add(order.further.head_size)
    beside = entries_at(conn, order.meet, order.withheld.keys() - both.keys())
    return Chosen(chosen.spoken_of, ordered, frozenset(sizes), tuple(beside))


def needed_for(conn: Connection, meet: MeetId, part: Collection[Recorded]) -> Collection[Recorded]:
    """What of the record these entries cannot be checked without."""
    return list(_needed(part, entries_of_kinds(conn, meet, NEEDED)))


def _needed(part: Collection[Recorded], others: Collection[Recorded]) -> Iterator[Recorded]:
    """What of other entries belongs to a part of a record."""
    keys = {key for one in part for key in _keys_that_signed(one.body)}
    of_keys = [one for one in others if not keys.isdisjoint(_keys_in(one))]
    yield from (one for one in others if one.kind in ALWAYS)
    yield from of_keys
    about = [*part, *of_keys]
    bodiless = {one.seq for one in about if one.text is None}
    decided = (one.body.get("decision") for one in about if one.kind in DECIDED)
    subjects = {*(one.subject for one in about), *(ident for ident in decided if ident)}
    for other in others:
        if other.kind is Kind.ERASED and _is_about(other.body, bodiless, subjects):
            yield other


def _keys_that_signed(body: Mapping[str, Any]) -> set[object]:
    """The keys that signed an act, and the votes in it."""
    signature = body.get("signature")
    key = signature.get("key") if isinstance(signature, dict) else None
    votes = (_keys_that_signed(ballot) for ballot in body.get("ballots", ()))
    return {key, *(one for vote in votes for one in vote)} - {None}


def _keys_in(one: Recorded) -> set[object]:
    """The keys that an entry registers or revokes."""
    own = {one.subject} if one.kind in {Kind.KEY_REGISTERED, Kind.KEY_REVOKED} else set()
    return {*own, *(revoked["key"] for revoked in one.body.get("keys_revoked", ()))}


def _is_about(erasure: Mapping[str, Any], bodiless: set[int], subjects: set[str]) -> bool:
    """Whether an erasure took a body, a paper, a picture or a form's facts of these entries."""
    files = {one for what in ("papers", "pictures", "forms") for one in erasure.get(what, ())}
    return not (bodiless.isdisjoint(erasure.get("entries", ())) and subjects.isdisjoint(files))

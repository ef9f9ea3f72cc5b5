"""Is what the database says of a signature what the record says of it?

Papers print how an act was signed, and JSON tells it. The record's entry of a signed act holds the
statement, its digest, and the signature; it was made at the instant of the signing. Votes come into
the record with the jury's decision, so that of one before that only who voted, and when, is there.
Of a report that came without a signature nothing is stored as one, so whatever is was never given.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, NamedTuple

from sqlalchemy import Connection

from app.access.pen import Strength
from app.access.queries import signatures_about
from app.clock import rfc3339
from app.ids import MeetId
from app.record.canonical import canonical
from app.record.kinds import Kind
from app.record.queries import Sound, committed_about
from app.sealing.left_rows import Erasures, Part, Row, Says, digest_said, learn
from app.sealing.told import Kept

SIGNED = frozenset(
    {
        *(Kind.REPORT_WRITTEN, Kind.RULING, Kind.ANNOUNCEMENT, Kind.LOTS_DRAWN, Kind.MEET_ENDED),
        *(Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED, Kind.DECISION_SIGNED),
        *(Kind.APPEAL_ADMITTED, Kind.APPEAL_TURNED_AWAY, Kind.APPEAL_REOPENED),
        *(Kind.ANNOUNCEMENT_TIME_CORRECTED, Kind.PROTEST_CORRECTED, Kind.APPEAL_CORRECTED),
        Kind.END_OF_MEET_CORRECTED,
    }
)
"""The kinds of entries that can hold a signature."""
OF_SIGNATURES = SIGNED | {Kind.VOTE_CAST}
PRINTED = {Kind.RULING: "ruling", Kind.ANNOUNCEMENT: "announcement"}
"""Under which act a signature is kept that a paper prints; of decisions there are two."""
DECISIONS = frozenset({Kind.PROTEST_DECIDED, Kind.APPEAL_DECIDED})


class Which(NamedTuple):
    """Of which act a signature is."""

    act: str
    subject: str


class Sitting(NamedTuple):
    """A sitting of the jury on an appeal."""

    appeal: str
    number: int


@dataclass(slots=True)
class SignedActs:
    """What the entries of a record say of signatures, as they are added, first to last."""

    told: dict[Which, list[str]] = field(default_factory=dict)
    cast: dict[str, Sound] = field(default_factory=dict)
    decided: set[Sitting] = field(default_factory=set)
    gone: list[Sound] = field(default_factory=list)
    found: Counter[Which] = field(default_factory=Counter)

    def add(self, one: Sound) -> None:
        """What one more entry says; of one without a body, that it is there."""
        if one.body is None:
            self.gone.append(one)
        elif one.kind == Kind.VOTE_CAST:
            self.cast[str(one.body.get("id"))] = one
        elif "signature" in one.body and not _is_by_server_alone(one, one.body):
            for says in self._signatures_in(one, one.body):
                which = Which(says["act"], says["subject"])
                self.told.setdefault(which, []).append(digest_said(says))

    def _signatures_in(self, one: Sound, body: Mapping[str, Any]) -> Iterator[Says]:
        yield _says_of_entry(body, _subject_of(one, body), one.at)
        if one.kind == Kind.APPEAL_DECIDED:
            self.decided.add(Sitting(one.subject, body["statement"]["sitting"]))
        for ballot in body.get("ballots", ()):
            ident = ballot["statement"]["ballot"]
            cast = self.cast.get(ident)
            yield _says_of_entry(ballot, ident, cast.at if cast is not None else "")

    def parts(self, row: Row) -> Iterator[Part]:
        """What a stored signature says, and whether it was given so."""
        says, which = says_of_signature(row), Which(row["act"], row["subject"])
        cast, is_told = self._cast(says), digest_said(says) in self.told.get(which, ())
        self.found[which] += 1
        if not is_told and cast is not None and self._is_secret_yet(cast):
            is_told = says["statement_sha256"] == sha256(row["statement"].encode()).hexdigest()
        yield Part(row["id"], says, is_told, () if is_told else self._gone(says, cast))

    def _cast(self, says: Says) -> Sound | None:
        """The entry that tells that this vote was given; None for any other signature."""
        cast = self.cast.get(says["subject"]) if says["act"] == "vote" else None
        is_it = cast is not None and (cast.at, cast.by) == (says["signed_at"], says["official"])
        return cast if is_it else None

    def _is_secret_yet(self, cast: Sound) -> bool:
        """Whether the sitting of this vote has not decided; what was voted is told only then."""
        assert cast.body is not None
        sitting = Sitting(str(cast.body.get("appeal_id")), int(cast.body.get("sitting", 0)))
        return sitting not in self.decided and not self._decided_since(cast)

    def _decided_since(self, cast: Sound) -> list[Sound]:
        """The decisions on its appeal that have no body and came after this vote."""
        return [
            one
            for one in self.gone
            if (one.kind, one.subject) == (Kind.APPEAL_DECIDED, cast.subject) and one.seq > cast.seq
        ]

    def _gone(self, says: Says, cast: Sound | None) -> list[Sound]:
        """The entries without a body that may have told of a signature."""
        if cast is not None:
            return self._decided_since(cast)
        by = (says["signed_at"], says["official"])
        return [one for one in self.gone if (one.at, one.by) == by]

    def missing(self) -> Iterator[str]:
        """The acts of which the record tells more signatures than there are."""
        for which, told in sorted(self.told.items()):
            if len(told) > self.found[which]:
                yield f"the signature of the {which.act} {which.subject}"


def says_of_signature(row: Row) -> Says:
    """What a stored signature says."""
    return {
        "act": row["act"],
        "key": row["key_id"],
        "official": row["official_id"],
        "proof": row["proof"],
        "signed_at": rfc3339(row["signed_at"]),
        "statement": row["statement"],
        "statement_sha256": row["statement_sha256"],
        "strength": row["strength"],
        "subject": row["subject"],
    }


def _says_of_entry(told: Mapping[str, Any], subject: str, at: str) -> Says:
    """What the row of a signature should say, by what the record tells of it."""
    signature, statement = told["signature"], told["statement"]
    return {
        **{name: signature[name] for name in ("key", "official", "proof", "strength")},
        "act": statement["act"],
        "signed_at": at,
        "statement": canonical(statement).decode(),
        "statement_sha256": told["statement_sha256"],
        "subject": subject,
    }


def _is_by_server_alone(one: Sound, body: Mapping[str, Any]) -> bool:
    """Whether a report came without a signature, so that its entry is its statement."""
    is_report = one.kind == Kind.REPORT_WRITTEN and "statement" not in body
    return is_report and bool(body["signature"]["strength"] == Strength.SERVER)


def _subject_of(one: Sound, body: Mapping[str, Any]) -> str:
    """What a signature is kept under: the entry's subject, where it has no id of its own."""
    statement = body["statement"]
    if statement["act"] == "decision":
        return str(body.get("decision"))
    return str(statement["correction"]) if statement["act"] == "correction" else one.subject


def has_its_signatures(conn: Connection, meet: MeetId, kept: Kept) -> bool:
    """Whether the signatures that a paper prints of an act are those that the record tells of."""
    printed = {PRINTED.get(kept.kind, "decision"), "decision signature"}
    rows = [row for row in signatures_about(conn, meet, kept.act) if row["act"] in printed]
    entries = list(_entries_of(conn, meet, kept))
    if _agree(entries, rows, kept, Erasures()):
        return True
    return _agree(entries, rows, kept, Erasures.of(committed_about(conn, meet, Kind.ERASED, meet)))


def _agree(entries: list[Sound], rows: list[dict[str, Any]], kept: Kept, said: Erasures) -> bool:
    acts = SignedActs()
    if learn(acts, entries):
        return False
    told = sum(len(told) for which, told in acts.told.items() if which.subject == kept.act)
    return told <= len(rows) and all(part.holds(said) for row in rows for part in acts.parts(row))


def _entries_of(conn: Connection, meet: MeetId, kept: Kept) -> Iterator[Sound]:
    yield from committed_about(conn, meet, kept.kind, kept.about)
    if kept.kind in DECISIONS:
        yield from committed_about(conn, meet, Kind.DECISION_SIGNED, kept.act)

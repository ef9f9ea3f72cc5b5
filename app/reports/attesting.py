"""Who answers for it that a report says what its umpire wrote: the phone's own key, or the server.

A phone signs its report without a network, at the moment of writing, over what it sends: the
document without its `signature`, with `act`, `meet` and `report` beside it, in its RFC 8785 form.
The server answers for a report without a signature, by the same statement of the document as it was
taken in. Its entry in the record says all of that already, so only its digest is kept with it, and
`as_taken_in` tells the statement.
A signature that does not fit, or whose key is unknown or revoked by now, costs no report: that is
kept, marked in plain words, and attested by the server. When a revoked key has signed, only the
phone's clock could say, so it does not count whatever that shows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.access.guard import Admitted
from app.access.key_kinds import PHONE_KEY
from app.access.pen import Given, Strength, attested_as, keep_signature, revoked_in_words
from app.access.phone_keys import has_signed
from app.access.queries import Caller, key_row
from app.access.sign_wire import decode
from app.ids import KeyId, ReportId
from app.record.canonical import canonical, digest_of
from app.reports.states import Mark
from app.reports.wire import BY_SERVER, AttestedOut, PhoneSignatureIn
from app.store.action import Unit
from app.store.rows import AnyRow

SENT = ("clock", "heat", "lane", "observation", "post", "take_over", "words")
"""What an umpire writes, as a report's entry names it; the rest of it the service has added."""


@dataclass(frozen=True, slots=True)
class SignedReport:
    """What came with a report: its signature, the text that it should be of, and whether it is."""

    sent: PhoneSignatureIn
    statement: dict[str, Any]
    text: str
    fits: bool


async def read_signature(here: Admitted, report: str, sent: PhoneSignatureIn) -> SignedReport:
    """What a phone has signed, held against its key before the report is queued."""
    caller, key = here.caller, KeyId(sent.key)
    document = json.loads(here.body)
    del document["signature"]
    statement = _statement(document, caller.meet_id, report)
    try:
        text = canonical(statement)
    except ValueError:  # a number that no phone writes: it is no RFC 8785 form of anything
        text = canonical(_statement({}, caller.meet_id, report))
        return SignedReport(sent, json.loads(text), text.decode(), fits=False)
    row = await here.store.read(lambda conn: key_row(conn, caller.meet_id, key))
    if row is None or not _is_theirs(row, caller):
        return SignedReport(sent, statement, text.decode(), fits=False)
    fits = has_signed(row.public_key, text, decode(sent.signature))
    return SignedReport(sent, statement, text.decode(), fits)


@dataclass(frozen=True, slots=True)
class TakenIn:
    """A report that came without a signature: the digest of what the server took in."""

    sha256: str

    @classmethod
    def of(cls, report: ReportId, caller: Caller, document: Mapping[str, Any]) -> TakenIn:
        """By the document with what was left out filled in."""
        return cls(digest_of(_statement(document, caller.meet_id, report)))


def as_taken_in(body: Mapping[str, Any], meet: str, report: str) -> dict[str, Any]:
    """The statement of a report that came without a signature, by its entry's body."""
    said = {name: body[name] for name in SENT}
    if said["post"] is not None:  # a post knows its take-over, and no phone sends both
        said["take_over"] = None
    return _statement(said, meet, report)


def _statement(document: Mapping[str, Any], meet: str, report: str) -> dict[str, Any]:
    return {**document, "act": "report", "meet": meet, "report": report}


def _is_theirs(row: AnyRow, caller: Caller) -> bool:
    return bool(row.kind == PHONE_KEY and row.official_id == caller.official_id)


def attest(
    unit: Unit,
    report_id: ReportId,
    caller: Caller,
    came: SignedReport | TakenIn,
    facts: dict[str, Any],
) -> dict[str, Any]:
    """Keep how a report was signed, in what is stored of it; returns what the record keeps."""
    if isinstance(came, TakenIn):
        facts["attested"] = _attested(Strength.SERVER, None, came.sha256)
        return attested_as(caller, came.sha256)
    key = KeyId(came.sent.key)
    mark = _mark(key_row(unit.conn, unit.meet_id, key), caller, came)
    if mark is None:
        proof = {"signature": came.sent.signature}
        given = Given("report", report_id, Strength.PHONE_KEY, key, proof)
        sent = {}
    else:
        given = Given("report", report_id, Strength.SERVER)
        facts["marks"] = [*facts["marks"], mark.value]
        sent = {"signature_sent": came.sent.model_dump()}
    kept = keep_signature(unit, caller, given, came.statement, came.text)
    facts["attested"] = _attested(given.strength, given.key, kept.sha256)
    return {**kept.body, **sent}


def _attested(strength: Strength, key: KeyId | None, digest: str) -> dict[str, Any]:
    return {"strength": strength.value, "key": key, "sha256": digest}


def _mark(row: AnyRow | None, caller: Caller, signed: SignedReport) -> Mark | None:
    """Why a signature does not count; None where it does."""
    if row is None or not _is_theirs(row, caller):
        return Mark.KEY_UNKNOWN
    if row.revoked_from is not None:
        return Mark.KEY_REVOKED
    return None if signed.fits else Mark.SIGNATURE_UNFIT


WORDS = {
    Strength.PHONE_KEY: "signed on the phone with its own key at the moment of writing",
    Strength.SERVER: BY_SERVER.words,
}


def attested_out(stored: dict[str, Any] | None) -> AttestedOut:
    """How a report is attested, as it goes over HTTP."""
    if stored is None:
        return BY_SERVER
    strength = stored["strength"]
    return AttestedOut(
        strength=strength,
        key=stored["key"],
        statement_sha256=stored["sha256"],
        key_revoked_from=None,
        words=WORDS[strength],
    )


def as_revoked(attested: AttestedOut, since: datetime | None) -> AttestedOut:
    """The same where its key was revoked from before the report came."""
    if since is None:
        return attested
    words = f"{attested.words}; {revoked_in_words(since)}"
    return attested.model_copy(update={"key_revoked_from": since, "words": words})

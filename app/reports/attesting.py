"""Who answers for it that a report says what its umpire wrote: the phone's own key, or the server.

A phone signs its report without a network, at the moment of writing, over what it sends: the
document without its `signature`, with `act`, `meet` and `report` beside it, in its RFC 8785 form.
Of a report without a signature the same is kept as the server took it in, which answers for it.
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
from app.access.pen import Given, Strength, keep_signature, revoked_in_words
from app.access.phone_keys import has_signed
from app.access.queries import Caller, key_row
from app.access.sign_wire import decode
from app.ids import KeyId, ReportId
from app.record.canonical import canonical
from app.reports.states import Mark
from app.reports.wire import BY_SERVER, AttestedOut, PhoneSignatureIn
from app.store.action import Unit
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class SignedReport:
    """What came with a report: its signature, the text that it should be of, and whether it is;
    `sent` is None where it came without one.
    """

    sent: PhoneSignatureIn | None
    statement: dict[str, Any]
    text: str
    fits: bool


async def read_signature(here: Admitted, report: str, sent: PhoneSignatureIn) -> SignedReport:
    """What a phone has signed, held against its key before the report is queued."""
    caller, key = here.caller, KeyId(sent.key)
    document = json.loads(here.body)
    del document["signature"]
    statement = {**document, "act": "report", "meet": caller.meet_id, "report": report}
    try:
        text = canonical(statement)
    except ValueError:  # a number that no phone writes: it is no RFC 8785 form of anything
        text = canonical({"act": "report", "meet": caller.meet_id, "report": report})
        return SignedReport(sent, json.loads(text), text.decode(), fits=False)
    row = await here.store.read(lambda conn: key_row(conn, caller.meet_id, key))
    if row is None or not _is_theirs(row, caller):
        return SignedReport(sent, statement, text.decode(), fits=False)
    fits = has_signed(row.public_key, text, decode(sent.signature))
    return SignedReport(sent, statement, text.decode(), fits)


def taken_in(report: ReportId, caller: Caller, document: Mapping[str, Any]) -> SignedReport:
    """A report that came without a signature, by the document as the server took it in."""
    statement = {**document, "act": "report", "meet": caller.meet_id, "report": report}
    return SignedReport(None, statement, canonical(statement).decode(), fits=False)


def _is_theirs(row: AnyRow, caller: Caller) -> bool:
    return bool(row.kind == PHONE_KEY and row.official_id == caller.official_id)


def attest(
    unit: Unit, report_id: ReportId, caller: Caller, signed: SignedReport, facts: dict[str, Any]
) -> dict[str, Any]:
    """Keep how a report was signed, in what is stored of it; returns what the record keeps."""
    given, came = Given("report", report_id, Strength.SERVER), signed.sent
    sent = {}
    if came is not None:
        key = KeyId(came.key)
        mark = _mark(key_row(unit.conn, unit.meet_id, key), caller, signed)
        if mark is None:
            proof = {"signature": came.signature}
            given = Given("report", report_id, Strength.PHONE_KEY, key, proof)
        else:
            facts["marks"] = [*facts["marks"], mark.value]
            sent = {"signature_sent": came.model_dump()}
    kept = keep_signature(unit, caller, given, signed.statement, signed.text)
    facts["attested"] = {"strength": given.strength.value, "key": given.key, "sha256": kept.sha256}
    return {**kept.body, **sent}


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

"""What is signed, and with what: the statement of an act, and the pen that signs it.

A statement is all that the signer was shown, with `shown_at`, the instant of the showing, and no
instant that only the storing knows: it can be made before, looked at, and made again. What is
signed is its RFC 8785 form.

1. An action makes its statement, whether it is looked at or signed: it is the same code.
2. Looked at, the action ends there: `Shown` carries the statement out, and nothing is stored.
3. Signed, the statement is made anew with the instant that was shown; where it is another one now,
   nothing is stored.
4. The signature is kept beside the act, and goes into the record with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from hashlib import sha256
from typing import Any, TypeVar

from pydantic_core import from_json
from sqlalchemy import Connection, insert, update

from app.access.queries import Caller, has_ended, key_row, official_row, signatures_on
from app.access.sign_wire import SignedWithOut
from app.access.tables import device_keys, signatures
from app.clock import in_zone, rfc3339
from app.ids import KeyId, MeetId, new_id
from app.record.canonical import canonical
from app.refusals import (
    Malformed,
    NotJoined,
    RoleMissing,
    ShownLongAgo,
    SignatureRefused,
    StateConflict,
    StatementChanged,
)
from app.store.action import Action, Done, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow

Result = TypeVar("Result")

_ADD_SIGNATURE = Prepared(insert(signatures))
SHOWN_LASTS = timedelta(minutes=15)
NO_SUCH_PASSKEY = "You have no such passkey at this meet. Sign with your PIN."


class Strength(StrEnum):
    """How a signature was given."""

    PIN = "PIN"
    DEVICE_KEY = "device key"
    PHONE_KEY = "phone key"
    SERVER = "server"


class Shown(Exception):
    """A statement that was asked for to be looked at: what ends an action before it stores."""

    def __init__(self, statement: Mapping[str, Any]) -> None:
        super().__init__("a statement is shown")
        self.statement = dict(statement)


@dataclass(frozen=True, slots=True)
class DeviceProof:
    """What a passkey made of a challenge, verified with its public key before the action runs."""

    key: KeyId
    challenge: bytes
    sign_count: int
    told: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Signed:
    """A statement that has been signed: what the record keeps of it."""

    statement: Mapping[str, Any]
    sha256: str
    signature: Mapping[str, Any]

    @property
    def body(self) -> dict[str, Any]:
        """The part of an entry's body that every signed act has."""
        return {
            "statement": self.statement,
            "statement_sha256": self.sha256,
            "signature": self.signature,
        }


@dataclass(frozen=True, slots=True)
class Pen:
    """What an official signs with on one request: a PIN that was confirmed, or a passkey's proof;
    nothing where they only look.
    """

    caller: Caller
    shown_at: datetime | None = None
    expected: str | None = None
    proof: DeviceProof | None = None
    is_check: bool = False

    def insist_may_sign(self, unit: Unit) -> None:
        """Within the act itself: whoever signs may still do what it is for.

        Looking at a PIN takes its time, in which roles are taken away and links issued anew.
        """
        caller = self.caller
        known = official_row(unit.conn, caller.meet_id, caller.official_id)
        if not known.active or known.pin_hash is None or not caller.roles <= set(known.roles):
            raise RoleMissing(
                "Your roles or your PIN were changed while this was on its way. Nothing was signed."
            )
        if has_ended(unit.conn, caller.session_id):
            raise NotJoined(
                "This session ended while this was on its way. Nothing was signed. Join again with "
                "a personal link."
            )

    def sign(
        self, unit: Unit, act: str, subject: str, said: Mapping[str, Any], ident: str | None = None
    ) -> Signed:
        """Sign a statement that says this; Shown where it is only looked at. StatementChanged where
        another one was signed than would be recorded; SignatureRefused for a revoked key. The
        signature has an id of its own where the signer has chosen it.
        """
        statement = {
            "act": act,
            "meet": unit.meet_id,
            "official": self.caller.official_id,
            "shown_at": rfc3339(self._shown_at(unit)),
            **said,
        }
        if self.is_check:
            raise Shown(statement)
        given = Given(act, subject, *self._strength(), id=ident or new_id())
        return self._keep(unit, given, statement)

    def _strength(self) -> tuple[Strength, KeyId | None, Mapping[str, Any] | None]:
        if self.proof is None:
            return Strength.PIN, None, None
        return Strength.DEVICE_KEY, self.proof.key, self.proof.told

    def _shown_at(self, unit: Unit) -> datetime:
        at = self.shown_at
        if at is None or self.is_check:
            return unit.now
        if at > unit.now:
            raise Malformed(
                "This lies in the future, so nothing can have been shown then. Look at the "
                "statement again (check=true), and send its own “shown_at”.",
                field="/shown_at",
            )
        if unit.now - at > SHOWN_LASTS:
            raise ShownLongAgo(
                "What you signed was shown to you more than fifteen minutes ago. Look at it again "
                "(check=true), then sign. Nothing was stored."
            )
        return at

    def _keep(self, unit: Unit, given: Given, statement: Mapping[str, Any]) -> Signed:
        text = canonical(dict(statement))
        digest = sha256(text)
        self._insist_same(digest.digest())
        if self.proof is not None:
            use_key(unit, self.caller, self.proof)
        return keep_signature(unit, self.caller, given, statement, text.decode())

    def _insist_same(self, digest: bytes) -> None:
        signed = [] if self.proof is None else [self.proof.challenge.hex()]
        signed += [] if self.expected is None else [self.expected]
        if any(one != digest.hex() for one in signed):
            raise StatementChanged(
                "What you signed is no longer what would be recorded: something it rests on was "
                "changed meanwhile, or it was signed for something else. Look at it again "
                "(check=true), then sign. Nothing was stored.",
                statement_sha256=digest.hex(),
            )

    def bound(self, action: Action[Result]) -> Action[Result]:
        """The action as this pen runs it: where it is only looked at, it stores nothing whatever
        it does.
        """
        if not self.is_check:
            return action

        def look(unit: Unit) -> Done[Result]:
            action(unit)
            raise StateConflict(
                "This was signed and stored before, just as it is sent: there is nothing to sign."
            )

        return look


@dataclass(frozen=True, slots=True)
class Given:
    """A signature as it is kept: of which act on what, how strong, and what a key made of it."""

    act: str
    subject: str
    strength: Strength
    key: KeyId | None = None
    proof: Mapping[str, Any] | None = None
    id: str = field(default_factory=new_id)


def keep_signature(
    unit: Unit, caller: Caller, given: Given, statement: Mapping[str, Any], text: str
) -> Signed:
    """Store a signature of a statement, whose RFC 8785 form is `text`."""
    digest = sha256(text.encode()).hexdigest()
    row = {
        "id": given.id,
        "meet_id": unit.meet_id,
        "act": given.act,
        "subject": given.subject,
        "official_id": caller.official_id,
        "strength": given.strength.value,
        "key_id": given.key,
        "statement": text,
        "statement_sha256": digest,
        "proof": given.proof,
        "signed_at": unit.now,
    }
    _ADD_SIGNATURE.run(unit.conn, row)
    told = _signature(given.strength.value, caller.official_id, given.key, given.proof)
    return Signed(statement, digest, told)


def _signature(
    strength: str, official: str, key: str | None, proof: Mapping[str, Any] | None
) -> dict[str, Any]:
    return {"strength": strength, "official": official, "key": key, "proof": proof}


def attested_as(caller: Caller, digest: str) -> dict[str, Any]:
    """What the record keeps of an act that the server alone attests, and whose statement says
    nothing that the act's own entry does not say.
    """
    told = _signature(Strength.SERVER.value, caller.official_id, None, None)
    return {"signature": told, "statement_sha256": digest}


def as_recorded(row: AnyRow) -> dict[str, Any]:
    """A stored signature with its statement, as the record keeps those of signed acts."""
    signature = _signature(row.strength, row.official_id, row.key_id, row.proof)
    return Signed(from_json(row.statement), row.statement_sha256, signature).body


def use_key(unit: Unit, caller: Caller, proof: DeviceProof) -> None:
    """The key as it is at the act: still the signer's, not revoked, and no copy of it in use.

    An authenticator that counts its signatures counts upwards (WebAuthn Level 2, 6.1.1).
    """
    row = key_row(unit.conn, unit.meet_id, proof.key)
    if row is None or row.official_id != caller.official_id:
        raise SignatureRefused(NO_SUCH_PASSKEY)
    _insist_not_revoked(row)
    counted = max(proof.sign_count, row.sign_count)
    if counted and proof.sign_count <= row.sign_count:
        raise SignatureRefused(
            "This passkey has counted fewer signatures than it had made already, so there may be a "
            "copy of it. Nothing was signed. Sign with your PIN, and have the key revoked."
        )
    unit.conn.execute(
        update(device_keys).where(device_keys.c.id == proof.key).values(sign_count=counted)
    )


def _insist_not_revoked(row: AnyRow) -> None:
    if row.revoked_from is not None:
        raise SignatureRefused(
            f"This key was revoked from {rfc3339(row.revoked_from)} on, so it signs nothing more. "
            "Sign with your PIN."
        )


def in_words(row: AnyRow, zone: str = "", *, names_device: bool = True) -> str:
    """How something was signed, as a form names it, and whether its key was revoked from before;
    from when is told in a time zone, where one is given.
    """
    if row.strength != Strength.DEVICE_KEY:
        return BY_PIN
    whose = f"passkey of {row.device}" if names_device and row.device else "passkey of a device"
    since = revoked_before(row.revoked_from, row.signed_at)
    if since is None:
        return f"{whose}; anybody can check it against the export"
    return f"{whose}; {revoked_in_words(since, zone)}"


def revoked_before(revoked_from: datetime | None, signed_at: datetime) -> datetime | None:
    """From when on a key was revoked, where that is before it signed; else the signature is good,
    whatever became of the key since.
    """
    return revoked_from if revoked_from is not None and revoked_from <= signed_at else None


def revoked_in_words(since: datetime, zone: str = "") -> str:
    """That a key was revoked from before it signed."""
    at = f"{in_zone(since, zone)} on" if zone else "a time"
    return f"the key is revoked from {at}, before this was signed, so it does not show who signed"


BY_PIN = "PIN on a joined device, attested by the server"


def how_signed(conn: Connection, meet_id: MeetId, act: str, subject: str, zone: str) -> str:
    """How the first signature of such an act was given; before signatures were kept, by PIN."""
    signed = signatures_on(conn, meet_id, act, [subject])
    return in_words(signed[0], zone) if signed else BY_PIN


def signed_with(conn: Connection, meet_id: MeetId, act: str, subject: str) -> SignedWithOut:
    """The same, as it goes over HTTP."""
    signed = signatures_on(conn, meet_id, act, [subject])
    if not signed:
        return SignedWithOut(strength="PIN", key=None, key_revoked_from=None, words=BY_PIN)
    first = signed[0]
    return SignedWithOut(
        strength=first.strength,
        key=first.key_id,
        key_revoked_from=revoked_before(first.revoked_from, first.signed_at),
        words=in_words(first),
    )

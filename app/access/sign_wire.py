"""What every signed document shares, a statement as it is shown, and devices' keys, over HTTP."""

from __future__ import annotations

import re
from base64 import urlsafe_b64decode, urlsafe_b64encode
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import Query
from pydantic import AfterValidator, Field

from app.ids import ChosenId, KeyId, OfficialId
from app.wire import OptionalName, PhoneTime, Pin, Reasons, Wire, shown

SIGNED_WITH = frozenset({"pin", "device_signature", "shown_at", "statement_sha256"})
"""What says how a document is signed, and is no part of what it says."""

_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")
KEY = "01890a5d-ac96-774b-bcce-b302099a8057"
SIGNED_BY_PASSKEY = {
    "key": KEY,
    "authenticator_data": "SZYN5YgOjGh0NBcPZHZgW4_krrmihjLHmVzzuoMdl2MFAAAAAg",
    "client_data_json": "eyJ0eXBlIjoid2ViYXV0aG4uZ2V0In0",
    "signature": "MEUCIQCy",
}
POINT = "MKBCTNIcKUSDii11ySs3526iDZ8AiTo7Tu6KPAqv7D4"  # RFC 7517, appendix A.1


def encode(content: bytes) -> str:
    """Base64url without padding (RFC 4648, section 5), as browsers hand it over."""
    return urlsafe_b64encode(content).rstrip(b"=").decode()


def decode(text: str) -> bytes:
    """The bytes of a base64url text without padding; ValueError for any other."""
    content = (
        urlsafe_b64decode(text + "=" * (-len(text) % 4)) if _BASE64URL.fullmatch(text) else b""
    )
    if encode(content) != text:
        raise ValueError("this is no base64url without padding (RFC 4648, section 5)")
    return content


def _encoded(text: str) -> str:
    decode(text)
    return text


Encoded = Annotated[str, AfterValidator(_encoded), Field(min_length=1, max_length=2000)]
LongEncoded = Annotated[str, AfterValidator(_encoded), Field(min_length=1, max_length=12_000)]

Check = Annotated[
    bool,
    Query(
        description="true: show what would be signed, and store nothing. No PIN is asked; the "
        "answer is 200 with `statement`, `canonical` (its RFC 8785 text), `sha256` and `shown_at`"
    ),
]


class DeviceSignature(Wire):
    """What a passkey made of a statement: the answer of `navigator.credentials.get` to a challenge
    that is the statement's SHA-256.
    """

    model_config = shown(SIGNED_BY_PASSKEY)

    key: ChosenId
    authenticator_data: Encoded
    client_data_json: Encoded
    signature: Encoded


class Signable(Wire):
    """A document that is signed: with the PIN, or with a passkey's signature, one of the two."""

    pin: Pin | None = Field(
        default=None, description="the PIN; or leave it out and send `device_signature`"
    )
    device_signature: DeviceSignature | None = Field(
        default=None, description="instead of the PIN: a passkey's signature of what was shown"
    )
    shown_at: PhoneTime | None = Field(
        default=None,
        description="the `shown_at` of the statement that was looked at (`check=true`), good for "
        "fifteen minutes; left out with a PIN, it is now",
    )
    statement_sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")] | None = Field(
        default=None,
        description="the `sha256` of the statement that was looked at: where another one would be "
        "recorded, nothing is. A passkey's signature says it already",
    )

    def content(self, *, exclude_defaults: bool = False) -> dict[str, Any]:
        """What the document says, without how it is signed."""
        return self.model_dump(
            mode="json", exclude=set(SIGNED_WITH), exclude_defaults=exclude_defaults
        )


class ShownOut(Wire):
    """What would be signed, as it is shown before: nothing was stored."""

    statement: dict[str, Any]
    canonical: str = Field(description="the statement's RFC 8785 text: what is signed")
    sha256: str = Field(description="the SHA-256 of that text, in UTF-8: a passkey's challenge")
    shown_at: str = Field(description="to be sent with the signature, as it stands here")


class PointIn(Wire):
    """The public half of a P-256 key as a JSON Web Key (RFC 7517), as WebCrypto exports it."""

    model_config = shown({"kty": "EC", "crv": "P-256", "x": POINT, "y": POINT})

    kty: Literal["EC"]
    crv: Literal["P-256"]
    x: Annotated[str, AfterValidator(_encoded), Field(min_length=43, max_length=43)]
    y: Annotated[str, AfterValidator(_encoded), Field(min_length=43, max_length=43)]
    ext: bool | None = None
    key_ops: Annotated[list[Literal["verify"]], Field(max_length=1)] | None = None
    alg: Literal["ES256"] | None = None


class KeyIn(Wire):
    """A device's key, registered with the PIN: a passkey, or a phone's own key for its reports."""

    model_config = shown(
        {
            "kind": "phone key",
            "public_key": {
                "kty": "EC",
                "crv": "P-256",
                "x": POINT,
                "y": "4Etl6SRW2YiLUrN5vfvVHuhp7x8PxltmWWlbbM4IFyM",
            },
            "device": "Bo's phone",
            "pin": "480213",
        },
        {
            "kind": "passkey",
            "attestation_object": "o2NmbXRkbm9uZQ",
            "client_data_json": "eyJ0eXBlIjoid2ViYXV0aG4uY3JlYXRlIn0",
            "device": "Cleo's tablet",
            "pin": "480213",
        },
    )

    kind: Literal["passkey", "phone key"]
    public_key: PointIn | Encoded | None = Field(
        default=None,
        description="of a phone key: its public half, as a JSON Web Key or as SubjectPublicKeyInfo "
        "(base64url)",
    )
    attestation_object: LongEncoded | None = Field(
        default=None, description="of a passkey: from the answer of `navigator.credentials.create`"
    )
    client_data_json: Encoded | None = Field(default=None, description="of a passkey: likewise")
    device: OptionalName = Field(default="", description="whose device it is, as forms name it")
    pin: Pin


class KeyOptionsOut(Wire):
    """What `navigator.credentials.create` is to be asked; its challenge is good for ten minutes."""

    public_key: dict[str, Any] = Field(
        description="`publicKey` as `PublicKeyCredential.parseCreationOptionsFromJSON` reads it"
    )


KEY_REVOKED_FROM = Field(
    description="from when on its key is revoked, where that is before this was signed: then it "
    "does not show who signed. A later revoking leaves what was signed before good"
)


class SignedWithOut(Wire):
    """How something was signed: with the PIN, or with a passkey."""

    strength: Literal["PIN", "device key"]
    key: KeyId | None
    key_revoked_from: datetime | None = KEY_REVOKED_FROM
    words: str


class SignedActOut(Wire):
    """Something that was signed with a key."""

    act: str
    subject: str = Field(description="the id of what was signed: a ruling, a report …")
    signed_at: datetime


class KeyOut(Wire):
    """A device's key as stored. Its private half never left the device."""

    id: KeyId
    official: OfficialId
    kind: Literal["passkey", "phone key"]
    public_key: str = Field(description="SubjectPublicKeyInfo in PEM")
    credential: str | None = Field(description="a passkey's credential id; null for a phone key")
    device: str
    registered_at: datetime
    revoked_at: datetime | None = Field(description="when that was said")
    revoked_from: datetime | None = Field(description="from when on it signs nothing")
    signed_since: list[SignedActOut] = Field(
        description="what was signed with it from `revoked_from` on, the first hundred: to be "
        "looked at, not undone"
    )
    signed_since_in_all: int


class RevokeIn(Wire):
    """From when on a key counts no more, and why."""

    model_config = shown(
        {"reason": "The phone was lost.", "revoked_from": "2026-06-13T12:00:00Z"},
        {"reason": "The tablet goes to somebody else."},
    )

    reason: Reasons = Field(description="stands in the record; not kept in a meet that was erased")
    revoked_from: PhoneTime | None = Field(
        default=None, description="not in the future; left out, it is now"
    )

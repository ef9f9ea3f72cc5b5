"""The two kinds of devices' keys, what is stored of a new one, and how many one official has."""

from __future__ import annotations

from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from app.refusals import StateConflict

PASSKEY = "passkey"
PHONE_KEY = "phone key"


MOST_LIVE_KEYS = 20
"""Of one official, of both kinds together: more devices than anybody signs with at a meet."""


@dataclass(frozen=True, slots=True)
class NewKey:
    """A key as its device has shown it: for a passkey with its credential, whom it is for, how
    many signatures it has counted, and the origin of the page that asked for it.
    """

    kind: str
    public_key: str
    credential: str = ""
    rp_id: str | None = None
    sign_count: int = 0
    origin: str | None = None


def insist_on_room(live: int) -> None:
    """StateConflict where an official has as many keys as count at a time."""
    if live >= MOST_LIVE_KEYS:
        raise StateConflict(
            f"You have {live} keys at this meet, as many as count at a time. Revoke one that you "
            "no longer use (POST …/me/keys/{key}/revoke), then register this one."
        )


def in_pem(key: EllipticCurvePublicKey | RSAPublicKey) -> str:
    """A public key in PEM (SubjectPublicKeyInfo), as openssl reads it."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()

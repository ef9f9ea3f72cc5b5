"""The two kinds of devices' keys, and what is stored of a new one."""

from __future__ import annotations

from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePublicKey
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

PASSKEY = "passkey"
PHONE_KEY = "phone key"


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


def in_pem(key: EllipticCurvePublicKey | RSAPublicKey) -> str:
    """A public key in PEM (SubjectPublicKeyInfo), as openssl reads it."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()

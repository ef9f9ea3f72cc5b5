"""A phone's own key: an ECDSA key on P-256 that its browser made and keeps (WebCrypto).

It signs without a network. What it makes of some bytes is r ‖ s, 32 bytes each (W3C WebCrypto,
23.3), of their SHA-256.
"""

from __future__ import annotations

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ec import (
    ECDSA,
    SECP256R1,
    EllipticCurvePublicKey,
    EllipticCurvePublicNumbers,
)
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import load_der_public_key, load_pem_public_key

from app.access.key_kinds import PHONE_KEY, NewKey, in_pem
from app.access.sign_wire import KeyIn, PointIn, decode
from app.refusals import Malformed

NUMBER_BYTES = 32


def read_public_key(sent: KeyIn) -> NewKey:
    """The public half of a phone's key; Malformed where it is none on P-256."""
    assert sent.public_key is not None
    try:
        key = _public_key(sent.public_key)
    except (ValueError, UnsupportedAlgorithm):
        key = None
    if not isinstance(key, EllipticCurvePublicKey) or not isinstance(key.curve, SECP256R1):
        raise Malformed(
            "This is no public key on P-256. Send what crypto.subtle.exportKey gives for it, as "
            "“jwk” or as “spki” in base64url.",
            field="/public_key",
        )
    return NewKey(PHONE_KEY, in_pem(key))


def _public_key(sent: PointIn | str) -> object:
    if not isinstance(sent, PointIn):
        return load_der_public_key(decode(sent))
    x, y = (int.from_bytes(decode(one)) for one in (sent.x, sent.y))
    return EllipticCurvePublicNumbers(x, y, SECP256R1()).public_key()


def has_signed(pem: str, content: bytes, signature: bytes) -> bool:
    """Whether the key with this public half has signed these bytes."""
    key = load_pem_public_key(pem.encode())
    if not isinstance(key, EllipticCurvePublicKey) or len(signature) != 2 * NUMBER_BYTES:
        return False
    r, s = (int.from_bytes(part) for part in (signature[:NUMBER_BYTES], signature[NUMBER_BYTES:]))
    try:
        key.verify(encode_dss_signature(r, s), content, ECDSA(SHA256()))
    except InvalidSignature:
        return False
    return True

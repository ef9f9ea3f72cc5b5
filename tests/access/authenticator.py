"""An authenticator in software (W3C WebAuthn Level 2, sections 6.1 and 6.5), for good and bad
passkeys alike. It shares nothing with the service but the library for keys.
"""

from __future__ import annotations

import json
import secrets
from base64 import urlsafe_b64encode
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

import cbor2
from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa
from cryptography.hazmat.primitives.hashes import SHA256

from tests.running import PUBLIC_URL

USER_PRESENT, USER_VERIFIED, HAS_CREDENTIAL = 0x01, 0x04, 0x40
RP_ID = PUBLIC_URL.removeprefix("https://")

Json = dict[str, Any]


def encoded(content: bytes) -> str:
    """Base64url without padding (RFC 4648, section 5)."""
    return urlsafe_b64encode(content).rstrip(b"=").decode()


def a_key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


def an_rsa_key() -> rsa.RSAPrivateKey:
    return rsa.generate_private_key(65537, 2048)


@dataclass
class Authenticator:
    """One passkey on one device; `origin` and `rp_id` as its browser tells them."""

    key: ec.EllipticCurvePrivateKey | rsa.RSAPrivateKey = field(default_factory=a_key)
    origin: str = PUBLIC_URL
    rp_id: str = RP_ID
    flags: int = USER_PRESENT | USER_VERIFIED
    count: int = 0
    counts: bool = True
    credential: bytes = field(default_factory=lambda: secrets.token_bytes(32))

    def create(self, challenge: str, **changes: Any) -> Json:
        """What the browser answers to navigator.credentials.create with this challenge."""
        data = self._data(self.flags | HAS_CREDENTIAL)
        data += bytes(16) + len(self.credential).to_bytes(2) + self.credential
        data += cbor2.dumps(self._cose())
        attestation = {"fmt": "none", "attStmt": {}, "authData": data} | changes
        return {
            "kind": "passkey",
            "attestation_object": encoded(cbor2.dumps(attestation)),
            "client_data_json": encoded(self._client_data("webauthn.create", challenge)),
            "device": "Cleo's tablet",
        }

    def sign(self, key: str, digest: str) -> Json:
        """What the browser answers to navigator.credentials.get, its challenge this digest."""
        self.count += self.counts
        data = self._data(self.flags)
        client = self._client_data("webauthn.get", encoded(bytes.fromhex(digest)))
        return {
            "key": key,
            "authenticator_data": encoded(data),
            "client_data_json": encoded(client),
            "signature": encoded(self._signature(data + sha256(client).digest())),
        }

    def _signature(self, content: bytes) -> bytes:
        if isinstance(self.key, rsa.RSAPrivateKey):
            return self.key.sign(content, padding.PKCS1v15(), SHA256())
        return self.key.sign(content, ec.ECDSA(SHA256()))

    def _data(self, flags: int) -> bytes:
        rp = sha256(self.rp_id.encode()).digest()
        return rp + bytes([flags]) + self.count.to_bytes(4)

    def _client_data(self, kind: str, challenge: str) -> bytes:
        told = {"type": kind, "challenge": challenge, "origin": self.origin, "crossOrigin": False}
        return json.dumps(told).encode()

    def _cose(self) -> Json:
        """The public key as RFC 9053, 7.1, and RFC 8230, 4, write it."""
        if isinstance(self.key, rsa.RSAPrivateKey):
            whole = self.key.public_key().public_numbers()
            return {1: 3, 3: -257, -1: whole.n.to_bytes(256), -2: whole.e.to_bytes(3)}
        point = self.key.public_key().public_numbers()
        algorithm = -7 if self.key.curve.name == "secp256r1" else -35
        curve, size = (1, 32) if algorithm == -7 else (2, 48)
        x, y = point.x.to_bytes(size), point.y.to_bytes(size)
        return {1: 2, 3: algorithm, -1: curve, -2: x, -3: y}

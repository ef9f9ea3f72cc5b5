"""What is a signature over a file's digest, as CMS (RFC 5652) with the attributes of CAdES?

The few structures that a seal needs, written as DER (X.690) directly: the library's types take 7 ms
to build what is 700 bytes, most of them the same for every seal. What is written is what EN 319
142-1 asks of a baseline seal, and is read back by tools of others in the tests.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import cast

from asn1crypto import x509  # type: ignore[import-untyped]
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import (
    ECDSA,
    EllipticCurvePrivateKey,
    EllipticCurvePublicKey,
)
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding

from app.forms.certificates import SealingKey

INTEGER, OCTETS, NULL, SEQUENCE, SET = 0x02, 0x04, 0x05, 0x30, 0x31
IMPLICIT_0, IMPLICIT_1 = 0xA0, 0xA1

# Object identifiers as DER; the names are those of the standards.
DATA = bytes.fromhex("06092a864886f70d010701")  # 1.2.840.113549.1.7.1
SIGNED_DATA = bytes.fromhex("06092a864886f70d010702")  # 1.2.840.113549.1.7.2
CONTENT_TYPE = bytes.fromhex("06092a864886f70d010903")  # 1.2.840.113549.1.9.3
MESSAGE_DIGEST = bytes.fromhex("06092a864886f70d010904")  # 1.2.840.113549.1.9.4
TIME_STAMP = bytes.fromhex("060b2a864886f70d010910020e")  # 1.2.840.113549.1.9.16.2.14
SIGNING_CERTIFICATE_V2 = bytes.fromhex("060b2a864886f70d010910022f")  # ….16.2.47, RFC 5035
SHA256 = bytes.fromhex("0609608648016503040201")  # 2.16.840.1.101.3.4.2.1
ECDSA_WITH_SHA256 = bytes.fromhex("06082a8648ce3d040302")  # 1.2.840.10045.4.3.2
SHA256_WITH_RSA = bytes.fromhex("06092a864886f70d01010b")  # 1.2.840.113549.1.1.11

StampIt = Callable[[bytes], bytes | None]
"""A token over a signature, as DER; nothing where nobody stamps it."""


def der(tag: int, *parts: bytes) -> bytes:
    """A value with its tag and its length (X.690, 8.1)."""
    content = b"".join(parts)
    size = len(content)
    if size < 0x80:
        return bytes((tag, size)) + content
    digits = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes((tag, 0x80 | len(digits))) + digits + content


def der_set(tag: int, members: Iterable[bytes]) -> bytes:
    """A SET OF in the order that DER asks for (X.690, 11.6)."""
    return der(tag, *sorted(members))


class KeptKey:
    """A private key that was loaded once, and what every CMS by it says alike."""

    def __init__(self, key: SealingKey) -> None:
        self._key = key.private_key
        self._public = key.certificate.public_key()
        self._certificates = [one.public_bytes(Encoding.DER) for one in key.certificates]
        self.certificate = x509.Certificate.load(self._certificates[0])

    @cached_property
    def room(self) -> int:
        """The most bytes that a CMS without a stamp takes."""
        # A signature is as long as an RSA key, or as two numbers of an EC key and their heads.
        widest = bytes(self._key.key_size // 4 + 16)
        return len(self._wrap(self._attributes(bytes(32)), widest, None))

    def sign_digest(self, digest: bytes, stamp: StampIt) -> bytes:
        """The CMS over a file's SHA-256, with a stamp over its signature where one is given."""
        attributes = self._attributes(digest)
        signature = self._sign(der_set(SET, attributes))
        return self._wrap(attributes, signature, stamp(signature))

    def _sign(self, content: bytes) -> bytes:
        """A signature over a text. Its certificate is asked about it before it is given out: a
        fault in reckoning, or the certificate of another key, must not seal.
        """
        key, public, algorithm = self._key, self._public, hashes.SHA256()
        if isinstance(key, EllipticCurvePrivateKey):
            signature = key.sign(content, ECDSA(algorithm))
            cast(EllipticCurvePublicKey, public).verify(signature, content, ECDSA(algorithm))
        else:
            signature = key.sign(content, PKCS1v15(), algorithm)
            cast(RSAPublicKey, public).verify(signature, content, PKCS1v15(), algorithm)
        return signature

    def _attributes(self, digest: bytes) -> list[bytes]:
        """What is signed (RFC 5652, 11; EN 319 142-1, 6.3): what it is about, and by whom."""
        return [
            der(SEQUENCE, CONTENT_TYPE, der(SET, DATA)),
            der(SEQUENCE, MESSAGE_DIGEST, der(SET, der(OCTETS, digest))),
            der(SEQUENCE, SIGNING_CERTIFICATE_V2, der(SET, self._this_certificate)),
        ]

    @cached_property
    def _this_certificate(self) -> bytes:
        """SigningCertificateV2 (RFC 5035, 3); SHA-256 is what it means where it names none."""
        digest = hashlib.sha256(self._certificates[0]).digest()
        return der(SEQUENCE, der(SEQUENCE, der(SEQUENCE, der(OCTETS, digest))))

    @cached_property
    def _signer(self) -> bytes:
        """IssuerAndSerialNumber (RFC 5652, 10.2.4)."""
        number = self.certificate["tbs_certificate"]["serial_number"].dump()
        return der(SEQUENCE, self.certificate.issuer.dump(), number)

    @cached_property
    def _algorithm(self) -> bytes:
        if isinstance(self._key, EllipticCurvePrivateKey):
            return der(SEQUENCE, ECDSA_WITH_SHA256)  # without parameters: RFC 5758, 3.2
        return der(SEQUENCE, SHA256_WITH_RSA, der(NULL))  # with: RFC 4055, 5

    def _wrap(self, attributes: list[bytes], signature: bytes, stamp: bytes | None) -> bytes:
        """ContentInfo of SignedData with one SignerInfo (RFC 5652, 3 and 5), detached."""
        one, sha256 = der(INTEGER, b"\x01"), der(SEQUENCE, SHA256)
        signed, signed_by = der_set(IMPLICIT_0, attributes), der(OCTETS, signature)
        parts = [one, self._signer, sha256, signed, self._algorithm, signed_by]
        if stamp is not None:  # EN 319 122-1, 5.3
            parts.append(der(IMPLICIT_1, der(SEQUENCE, TIME_STAMP, der(SET, stamp))))
        data = der(
            SEQUENCE,
            one,
            der(SET, sha256),
            der(SEQUENCE, DATA),
            der_set(IMPLICIT_0, self._certificates),
            der(SET, der(SEQUENCE, *parts)),
        )
        return der(SEQUENCE, SIGNED_DATA, der(IMPLICIT_0, data))

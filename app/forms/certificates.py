"""With which key and certificate are a meet's papers sealed, and which of others' can be used?

A meet makes its own: EC P-256, self-signed, for signing alone (RFC 5280). A federation may have one
from elsewhere and bring it as PKCS#12 (RFC 7292); what readers of PDFs could not check is refused
here, in words, and not years later by whoever doubts a paper. Where keys are kept is left to
others.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeAlias, TypeVar

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import (
    SECP256R1,
    SECP384R1,
    SECP521R1,
    EllipticCurvePrivateKey,
    generate_private_key,
)
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID, PublicKeyAlgorithmOID

from app.refusals import Malformed

LONGEST_NAME = 64
"""X.520's bound of a common name is 64 characters (RFC 5280, appendix A.1); in bytes, as the
library counts, it is kept all the same."""
NAMELESS = "Meet"
GOOD_BEFORE = timedelta(days=1)  # clocks of those who check may be behind
GOOD_FOR = timedelta(days=30 * 365.25)
SHORTEST_RSA = 2048  # bits; NIST SP 800-131A, revision 2
CURVES = (SECP256R1, SECP384R1, SECP521R1)
"""Those that readers of PDFs know; a paper sealed with another would count as not sealed."""
OTHER_PURPOSES = frozenset(
    {
        ExtendedKeyUsageOID.SERVER_AUTH,
        ExtendedKeyUsageOID.CODE_SIGNING,
        ExtendedKeyUsageOID.TIME_STAMPING,
        ExtendedKeyUsageOID.OCSP_SIGNING,
    }
)

PrivateKey: TypeAlias = EllipticCurvePrivateKey | RSAPrivateKey
Extension = TypeVar("Extension", bound=x509.ExtensionType)


@dataclass(frozen=True, slots=True)
class SealingKey:
    """A private key with its certificate first, then those that lead to its root."""

    private_key: PrivateKey
    certificates: tuple[x509.Certificate, ...]

    @property
    def certificate(self) -> x509.Certificate:
        """The one that seals."""
        return self.certificates[0]


def make_sealing_key(meet_name: str, at: datetime) -> SealingKey:
    """A new key of the meet's own, good from a day before this instant for 30 years."""
    key = generate_private_key(SECP256R1())
    return SealingKey(key, (certify(key, meet_name, at),))


def certify(key: EllipticCurvePrivateKey, meet_name: str, at: datetime) -> x509.Certificate:
    """The meet's self-signed certificate for this key."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, _cut(meet_name))])
    begins = at - GOOD_BEFORE
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + GOOD_FOR)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(FOR_SIGNING, critical=True)
        .add_extension(identifier, critical=False)
        .sign(key, hashes.SHA256())
    )


FOR_SIGNING = x509.KeyUsage(
    digital_signature=True,
    content_commitment=True,  # what X.509 called nonRepudiation before
    key_encipherment=False,
    data_encipherment=False,
    key_agreement=False,
    key_cert_sign=False,
    crl_sign=False,
    encipher_only=False,
    decipher_only=False,
)


def _cut(name: str) -> str:
    printable = "".join(letter if letter.isprintable() else " " for letter in name)
    words = " ".join(printable.split()).encode("utf-8", "replace")
    return words[:LONGEST_NAME].decode("utf-8", "ignore").strip() or NAMELESS


def fingerprint_of(certificate: x509.Certificate) -> str:
    """The SHA-256 of a certificate's DER, in lower-case hex."""
    return certificate.fingerprint(hashes.SHA256()).hex()


def certificates_as_pem(certificates: Iterable[x509.Certificate]) -> str:
    """The certificates one after another, in their order (RFC 7468)."""
    return "".join(one.public_bytes(Encoding.PEM).decode("ascii") for one in certificates)


def certificates_from_pem(text: str) -> tuple[x509.Certificate, ...]:
    """The certificates of such a text; Malformed where it holds none or a damaged one."""
    try:
        return tuple(x509.load_pem_x509_certificates(text.encode("utf-8", "replace")))
    except ValueError as error:
        raise Malformed("This is no certificate in PEM form.") from error


def read_pkcs12(content: bytes, passphrase: str, now: datetime) -> SealingKey:
    """The key and certificates of a PKCS#12 file; Malformed, with the reason, for any that cannot
    seal now.
    """
    store = _open(content, passphrase)
    key = store.key
    if key is None:
        raise Malformed("This file holds no private key. Export it again together with its key.")
    if store.cert is None:
        raise Malformed(
            "This file holds no certificate for its key. Export both together into one file."
        )
    certificate = store.cert.certificate
    sealing = _insist_on_key(key, certificate)
    _insist_on_times(certificate, now)
    _insist_on_usage(certificate)
    others = [one.certificate for one in store.additional_certs]
    return SealingKey(sealing, (certificate, *_lead_to_root(certificate, others)))


def _open(content: bytes, passphrase: str) -> pkcs12.PKCS12KeyAndCertificates:
    try:
        return pkcs12.load_pkcs12(content, passphrase.encode() or None)
    except UnsupportedAlgorithm as error:
        raise Malformed(
            "This file is encrypted in a way, or holds a key of a kind, that is not supported. "
            "Pack an RSA or EC key anew with AES."
        ) from error
    except (ValueError, TypeError) as error:
        raise Malformed(
            "This file cannot be opened: the passphrase is wrong, or it is no PKCS#12 file (.p12 "
            "or .pfx), or it is damaged."
        ) from error


def _insist_on_key(key: object, certificate: x509.Certificate) -> PrivateKey:
    if not isinstance(key, EllipticCurvePrivateKey | RSAPrivateKey):
        raise Malformed("Papers are sealed with an RSA or EC key; this file holds another kind.")
    _insist_on_strength(key)
    if certificate.public_key_algorithm_oid not in {
        PublicKeyAlgorithmOID.RSAES_PKCS1_v1_5,
        PublicKeyAlgorithmOID.EC_PUBLIC_KEY,
    }:
        raise Malformed("This certificate is for a kind of signature that PDFs cannot carry.")
    if key.public_key() != certificate.public_key():
        raise Malformed("The key and the certificate in this file do not belong together.")
    return key


def _insist_on_strength(key: PrivateKey) -> None:
    if isinstance(key, RSAPrivateKey):
        if key.key_size < SHORTEST_RSA:
            raise Malformed(
                f"This RSA key has {key.key_size} bits, which can be broken; {SHORTEST_RSA} are "
                "the least."
            )
    elif not isinstance(key.curve, CURVES):
        raise Malformed(
            f"This EC key is on the curve {key.curve.name}, which readers of PDFs do not know. "
            "Take one on P-256, P-384 or P-521."
        )


def _insist_on_times(certificate: x509.Certificate, now: datetime) -> None:
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now > ends:
        raise Malformed(f"This certificate expired on {ends:%Y-%m-%d %H:%M:%S} UTC.")
    if now < begins:
        raise Malformed(f"This certificate is not valid before {begins:%Y-%m-%d %H:%M:%S} UTC.")


def _insist_on_usage(certificate: x509.Certificate) -> None:
    usage = _extension(certificate, x509.KeyUsage)
    if usage is not None and not (usage.digital_signature or usage.content_commitment):
        raise Malformed("This certificate's key usage forbids signing.")
    purposes = _extension(certificate, x509.ExtendedKeyUsage)
    if purposes is not None and OTHER_PURPOSES.issuperset(purposes):
        raise Malformed(
            "This certificate's extended key usage allows other purposes alone, such as a web "
            "server's, and no signing of papers."
        )


def _extension(certificate: x509.Certificate, kind: type[Extension]) -> Extension | None:
    try:
        return certificate.extensions.get_extension_for_class(kind).value
    except x509.ExtensionNotFound:
        return None
    except ValueError as error:
        raise Malformed("This certificate is damaged: its extensions cannot be read.") from error


def _lead_to_root(
    certificate: x509.Certificate, others: Sequence[x509.Certificate]
) -> Iterator[x509.Certificate]:
    """The certificates from the one that issued this to the root; what leads nowhere is left."""
    left = list(others)
    while certificate.issuer != certificate.subject:
        found = next((one for one in left if _issued(one, certificate)), None)
        if found is None:
            return
        left.remove(found)
        yield found
        certificate = found


def _issued(issuer: x509.Certificate, certificate: x509.Certificate) -> bool:
    if issuer.subject != certificate.issuer:
        return False
    try:
        certificate.verify_directly_issued_by(issuer)
    except Exception:  # noqa: BLE001 - other kinds of keys fail in many ways; none of them issued it
        return False
    return True

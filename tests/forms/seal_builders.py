"""Keys, seals and papers for tests: a meet's own, a federation's, and one paper of each kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from app.forms.certificates import FOR_SIGNING, SealingKey, make_sealing_key
from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.forms.remedy_paper import draw_remedy_paper
from app.forms.result_sheet import draw_result_sheet
from app.forms.seal import Attested
from tests.forms.builders import a_form, a_result
from tests.forms.remedy_builders import a_jury_decision, a_protest, a_referee_decision, an_appeal

# Others' tools read the machine's clock, so what they check is sealed in the present.
NOW = datetime.now(UTC).replace(microsecond=0)
PASSPHRASE = "four invented lanes"
FURTHER = ("Referee", "Secretary of the jury")

PAPERS: dict[str, Callable[[Paper], bytes]] = {
    "infringement form": lambda sheet: draw_infringement_form(a_form(further=FURTHER), sheet),
    "result": lambda sheet: draw_result_sheet(a_result(), sheet),
    "protest": lambda sheet: draw_remedy_paper(a_protest(further=FURTHER), sheet),
    "referee's decision": lambda sheet: draw_remedy_paper(
        a_referee_decision(further=FURTHER), sheet
    ),
    "appeal": lambda sheet: draw_remedy_paper(an_appeal(further=FURTHER), sheet),
    "jury's decision": lambda sheet: draw_remedy_paper(a_jury_decision(further=FURTHER), sheet),
    "form of many pages": lambda sheet: draw_infringement_form(
        a_form(ruling_reasons="One line of many.\n" * 120, further=FURTHER), sheet
    ),
}


@cache
def a_meets_key() -> SealingKey:
    """The key of an invented meet."""
    return make_sealing_key("Lakeside Invented Games", NOW)


def an_attestation(**changes: Any) -> Attested:
    """That a head official ruled."""
    attested = Attested(
        name="Cleo Anchor",
        reason="Ruling of Cleo Anchor, head official, signed by PIN 2026-06-13 14:03:22 CEST; "
        "SHA-256 of the statement 3f2a91bc",
        place="Lakeside Stadium",
        at=NOW.astimezone(ZoneInfo("Europe/Vienna")),
    )
    return replace(attested, **changes)


def a_private_key(kind: str) -> Any:
    """A new key: "RSA 2048", "P-256", "P-384" …"""
    if kind.startswith("RSA"):
        return rsa.generate_private_key(65537, int(kind.removeprefix("RSA ")))
    curves = {"P-256": ec.SECP256R1(), "P-384": ec.SECP384R1(), "P-521": ec.SECP521R1()}
    return ec.generate_private_key(curves.get(kind) or getattr(ec, kind)())


def a_certificate(
    name: str,
    key: Any,
    issuer: tuple[str, Any] | None = None,
    *,
    is_authority: bool = False,
    usage: x509.KeyUsage | None = FOR_SIGNING,
    purposes: tuple[x509.ObjectIdentifier, ...] = (),
    begins: datetime = NOW - timedelta(days=1),
    ends: datetime = NOW + timedelta(days=400),
) -> x509.Certificate:
    """A certificate, issued by itself or by a named issuer with its key."""
    by, by_key = issuer or (name, key)
    builder = (
        x509.CertificateBuilder()
        .subject_name(_name(name))
        .issuer_name(_name(by))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(ends)
        .add_extension(x509.BasicConstraints(is_authority, None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(by_key.public_key()), False
        )
    )
    if is_authority:
        usage = x509.KeyUsage(False, False, False, False, False, True, True, False, False)
    if usage is not None:
        builder = builder.add_extension(usage, critical=True)
    if purposes:
        builder = builder.add_extension(x509.ExtendedKeyUsage(purposes), critical=True)
    algorithm = None if by_key.__class__.__name__.startswith("Ed") else hashes.SHA256()
    return builder.sign(by_key, algorithm)


def _name(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


@cache
def a_federation() -> tuple[Any, x509.Certificate, Any, x509.Certificate]:
    """An invented federation's root and what issues for it, each with its key."""
    root_key, middle_key = a_private_key("RSA 2048"), a_private_key("P-256")
    root = a_certificate("Invented Federation Root", root_key, is_authority=True)
    middle = a_certificate(
        "Invented Federation Seals",
        middle_key,
        ("Invented Federation Root", root_key),
        is_authority=True,
    )
    return root_key, root, middle_key, middle


def a_federations_pkcs12(kind: str = "RSA 2048", **changes: Any) -> bytes:
    """A key with a certificate from the federation and those that lead to its root."""
    _, root, middle_key, middle = a_federation()
    key = a_private_key(kind)
    certificate = a_certificate(
        "Invented Federation", key, ("Invented Federation Seals", middle_key), **changes
    )
    return packed(key, certificate, root, middle)


def packed(key: Any, certificate: Any, *others: x509.Certificate) -> bytes:
    """All of it as PKCS#12."""
    return pkcs12.serialize_key_and_certificates(
        b"seal",
        key,
        certificate,
        list(others) or None,
        serialization.BestAvailableEncryption(PASSPHRASE.encode()),
    )


def a_stamping_certificate(key: Any) -> x509.Certificate:
    """A certificate for time stamps alone (RFC 3161, 2.3)."""
    return a_certificate("Invented Clock", key, purposes=(ExtendedKeyUsageOID.TIME_STAMPING,))

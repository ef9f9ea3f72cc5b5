"""A meet's own certificate says what it is; others' are refused in words where they cannot seal."""

from __future__ import annotations

import hashlib
import subprocess
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import dsa, ed25519
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs12,
)
from cryptography.x509.oid import ExtendedKeyUsageOID

from app.forms.certificates import (
    certificates_as_pem,
    certificates_from_pem,
    fingerprint_of,
    make_sealing_key,
    read_pkcs12,
)
from app.refusals import Malformed
from tests.forms.builders import NAMES
from tests.forms.seal_builders import (
    NOW,
    PASSPHRASE,
    a_certificate,
    a_federation,
    a_federations_pkcs12,
    a_meets_key,
    a_private_key,
    packed,
)

ENCIPHERS = x509.KeyUsage(False, False, True, True, False, False, False, False, False)


def told_by_openssl(certificate: x509.Certificate, folder: Path) -> str:
    """The certificate in words, by a tool that is not ours."""
    path = folder / "certificate.pem"
    path.write_text(certificates_as_pem([certificate]))
    command = [
        "openssl",
        "x509",
        "-in",
        str(path),
        "-noout",
        "-text",
        "-nameopt",
        "utf8,sep_comma_plus",
    ]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return " ".join(done.stdout.split())


def test_a_meets_certificate_is_for_signing_alone_and_for_thirty_years(tmp_path: Path) -> None:
    told = told_by_openssl(a_meets_key().certificate, tmp_path)
    for words in (
        "Issuer: CN=Lakeside Invented Games",
        "Subject: CN=Lakeside Invented Games",
        "ASN1 OID: prime256v1",  # openssl's name of P-256
        "X509v3 Basic Constraints: critical CA:FALSE",
        "X509v3 Key Usage: critical Digital Signature, Non Repudiation ",
        "Signature Algorithm: ecdsa-with-SHA256",
    ):
        assert words in told
    certificate = a_meets_key().certificate
    assert certificate.not_valid_before_utc == NOW - timedelta(days=1)
    assert certificate.not_valid_after_utc.year - certificate.not_valid_before_utc.year == 30


@pytest.mark.parametrize("day", ["2028-02-29", "1999-12-31", "2051-01-01"])
def test_a_certificate_can_be_made_on_any_day(day: str) -> None:
    at = datetime.fromisoformat(f"{day}T12:00:00Z")
    certificate = make_sealing_key("Games", at).certificate
    assert certificate.not_valid_before_utc < at < certificate.not_valid_after_utc


@pytest.mark.parametrize(
    "name", [*NAMES.values(), "W" * 400, "水" * 100, "é" * 63, "  two\nlines\x00 ", "a\ud800b"]
)
def test_any_meets_name_becomes_a_subject_that_x520_allows(name: str) -> None:
    subject = make_sealing_key(name, NOW).certificate.subject
    (common_name,) = subject
    assert 1 <= len(common_name.value) <= 64  # RFC 5280, appendix A.1: ub-common-name
    assert common_name.value.isprintable()
    beginning = "".join(common_name.value.split()).rstrip("?")[:10]
    assert beginning[:1] == "".join(name.split())[:1]


@pytest.mark.parametrize("name", ["", "  ", "\n\x00"])
def test_a_meet_without_a_name_has_a_certificate_all_the_same(name: str) -> None:
    (common_name,) = make_sealing_key(name, NOW).certificate.subject
    assert common_name.value == "Meet"


def test_no_two_certificates_share_a_serial_or_a_key() -> None:
    made = [make_sealing_key("Games", NOW).certificate for _ in range(20)]
    assert len({one.serial_number for one in made}) == 20
    assert len({fingerprint_of(one) for one in made}) == 20


def test_a_fingerprint_is_the_digest_that_others_print() -> None:
    certificate = a_meets_key().certificate
    der = certificate.public_bytes(Encoding.DER)
    assert fingerprint_of(certificate) == hashlib.sha256(der).hexdigest()


def test_a_chain_comes_back_from_its_text_in_its_order() -> None:
    chain = read_pkcs12(a_federations_pkcs12(), PASSPHRASE, NOW).certificates
    assert certificates_from_pem(certificates_as_pem(chain)) == chain


@pytest.mark.parametrize("text", ["", "no certificate", "-----BEGIN CERTIFICATE-----\nAAAA\n"])
def test_a_text_without_a_certificate_is_refused(text: str) -> None:
    with pytest.raises(Malformed, match="no certificate in PEM"):
        certificates_from_pem(text)


@pytest.mark.parametrize("kind", ["RSA 2048", "RSA 4096", "P-256", "P-384", "P-521"])
def test_a_federations_key_is_read_with_the_way_to_its_root(kind: str) -> None:
    _, root, _, middle = a_federation()
    key = read_pkcs12(a_federations_pkcs12(kind), PASSPHRASE, NOW)
    assert key.certificates[1:] == (middle, root)
    assert key.private_key.public_key() == key.certificate.public_key()


def test_certificates_that_lead_nowhere_are_left_out_and_any_order_will_do() -> None:
    _, root, middle_key, middle = a_federation()
    key, stranger = a_private_key("P-256"), a_certificate("Stranger", a_private_key("P-256"))
    namesake = a_certificate("Invented Federation Seals", a_private_key("P-256"), is_authority=True)
    mine = a_certificate("Invented Federation", key, ("Invented Federation Seals", middle_key))
    read = read_pkcs12(packed(key, mine, root, stranger, namesake, middle), PASSPHRASE, NOW)
    assert read.certificates == (mine, middle, root)


def test_a_file_that_openssl_packed_is_read(tmp_path: Path) -> None:
    key, root = a_private_key("P-256"), a_federation()[1]
    mine = a_certificate("Invented Federation", key)
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()).decode()
    (tmp_path / "mine.pem").write_text(pem + certificates_as_pem([mine, root]))
    command = "openssl pkcs12 -export -in mine.pem -out mine.p12 -passout pass:secret"
    subprocess.run(command.split(), cwd=tmp_path, check=True, capture_output=True)
    read = read_pkcs12((tmp_path / "mine.p12").read_bytes(), "secret", NOW)
    assert read.certificates == (mine,)


def refused(content: bytes, passphrase: str = PASSPHRASE) -> str:
    """Why a file is refused."""
    with pytest.raises(Malformed) as caught:
        read_pkcs12(content, passphrase, NOW)
    return caught.value.detail


@pytest.mark.parametrize("passphrase", ["wrong", "", "é"])
def test_a_wrong_passphrase_is_refused(passphrase: str) -> None:
    assert "the passphrase is wrong" in refused(a_federations_pkcs12(), passphrase)


@pytest.mark.parametrize("content", [b"", b"hello", bytes(500), b"-----BEGIN CERTIFICATE-----"])
def test_what_is_no_pkcs12_is_refused(content: bytes) -> None:
    assert "it is no PKCS#12 file" in refused(content)


def test_a_file_that_is_cut_off_or_damaged_is_refused() -> None:
    whole = a_federations_pkcs12()
    assert "cannot be opened" in refused(whole[:-100])
    middle = len(whole) // 2
    assert refused(whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :])


def test_a_file_without_a_key_or_without_a_certificate_is_refused() -> None:
    key = a_private_key("P-256")
    certificate = a_certificate("Invented Federation", key)
    assert "no private key" in refused(packed(None, certificate))
    assert "no certificate for its key" in refused(packed(key, None))


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"ends": NOW - timedelta(seconds=1)}, "expired on"),
        ({"begins": NOW + timedelta(seconds=1)}, "is not valid before"),
        ({"usage": ENCIPHERS}, "key usage forbids signing"),
        ({"purposes": (ExtendedKeyUsageOID.SERVER_AUTH,)}, "other purposes alone"),
        (
            {"purposes": (ExtendedKeyUsageOID.CODE_SIGNING, ExtendedKeyUsageOID.TIME_STAMPING)},
            "other purposes alone",
        ),
    ],
)
def test_a_certificate_that_cannot_seal_now_is_refused_with_its_reason(
    changes: dict[str, Any], why: str
) -> None:
    if "ends" in changes:
        changes = {**changes, "begins": NOW - timedelta(days=9)}
    assert why in refused(a_federations_pkcs12(**changes))


@pytest.mark.parametrize(
    "changes",
    [
        {"usage": None},
        {"purposes": (ExtendedKeyUsageOID.EMAIL_PROTECTION,)},
        {"purposes": (ExtendedKeyUsageOID.SERVER_AUTH, ExtendedKeyUsageOID.EMAIL_PROTECTION)},
        {"purposes": (x509.ObjectIdentifier("1.3.6.1.5.5.7.3.36"),)},  # RFC 9336
        {"ends": NOW},
        {"begins": NOW},
    ],
)
def test_a_certificate_that_may_sign_is_taken(changes: dict[str, Any]) -> None:
    if "ends" in changes:
        changes = {**changes, "begins": NOW - timedelta(days=9)}
    assert len(read_pkcs12(a_federations_pkcs12(**changes), PASSPHRASE, NOW).certificates) == 3


@pytest.mark.parametrize(
    ("key", "why"),
    [
        (lambda: a_private_key("RSA 1024"), "1024 bits"),
        (lambda: a_private_key("SECP256K1"), "curve secp256k1"),
        (lambda: a_private_key("BrainpoolP256R1"), "curve brainpoolP256r1"),
        (ed25519.Ed25519PrivateKey.generate, "RSA or EC key"),
        (lambda: dsa.generate_private_key(2048), "RSA or EC key"),
    ],
)
def test_a_key_that_readers_of_pdfs_cannot_check_is_refused(key: Any, why: str) -> None:
    mine = key()
    assert why in refused(packed(mine, a_certificate("Invented Federation", mine)))


def test_a_certificate_of_another_key_is_refused() -> None:
    """A file by somebody who mixed two up; libraries that pack refuse to, so it is made by hand."""
    key, other = a_private_key("P-256"), a_private_key("P-256")
    store = pkcs12.PKCS12KeyAndCertificates(
        key, pkcs12.PKCS12Certificate(a_certificate("Invented Federation", other), None), []
    )
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(pkcs12, "load_pkcs12", lambda *_: store)
        assert "do not belong together" in refused(b"any")

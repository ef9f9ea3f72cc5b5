"""A paper that takes its evidence along is good when its certificate has long expired."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.ades.report import AdESPassed
from pyhanko.sign.validation.ades import ades_lta_validation
from pyhanko.sign.validation.policy_decl import (
    PdfSignatureValidationSpec,
    RevinfoOnlineFetchingRule,
    RevocationInfoGatheringSpec,
    SignatureValidationSpec,
)
from pyhanko_certvalidator.context import CertValidationPolicySpec
from pyhanko_certvalidator.ltv.types import ValidationTimingInfo
from pyhanko_certvalidator.policy_decl import (
    REQUIRE_REVINFO,
    CertRevTrustPolicy,
)
from pyhanko_certvalidator.registry import SimpleTrustManager

from app.forms.certificates import SealingKey, read_pkcs12
from app.forms.paper import Paper
from app.forms.seal import Evidence, Level, Sealed, Sealer
from app.forms.time_stamps import HttpAuthority, NotStamped, Stamp
from tests.forms.pdf_reading import read_text
from tests.forms.seal_builders import (
    NOW,
    PAPERS,
    PASSPHRASE,
    a_federation,
    a_federations_pkcs12,
    a_meets_key,
    an_attestation,
)
from tests.forms.sealing_tools import (
    GOOD,
    ask_library,
    ask_openssl,
    ask_pdfsig,
    check_structure,
    extract_seals,
)
from tests.forms.stamping import Openssl, an_authority

PDF = PAPERS["jury's decision"](Paper.A4)
SOON = NOW + timedelta(hours=6)  # when the federation's certificate ends
LATER = NOW + timedelta(days=30)


def a_list(name: str, key: object) -> x509.CertificateRevocationList:
    """An issuer's list of revoked certificates, which is empty."""
    return (
        x509.CertificateRevocationListBuilder()
        .issuer_name(x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, name)]))
        .last_update(NOW - timedelta(hours=1))
        .next_update(NOW + timedelta(days=60))
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(key.public_key()), False)
        .add_extension(x509.CRLNumber(1), False)
        .sign(key, hashes.SHA256())
    )


def a_key_that_ends_soon() -> SealingKey:
    """A federation's key whose certificate is good for some hours more."""
    return read_pkcs12(a_federations_pkcs12("P-256", ends=SOON), PASSPHRASE, NOW)


def the_evidence(key: SealingKey, clock: Openssl) -> Evidence:
    """All that a paper by this key is checked by."""
    root_key, _, middle_key, _ = a_federation()
    lists = (
        a_list("Invented Federation Root", root_key),
        a_list("Invented Federation Seals", middle_key),
    )
    return Evidence((*key.certificates, clock.certificate), lists)


def seal_at(url: str, key: SealingKey, evidence: Evidence | None) -> Sealed:
    sealer = Sealer(key, HttpAuthority(url), evidence)
    return sealer.seal(PDF, an_attestation(at=datetime.now(UTC)))


def is_passed(pdf: bytes, at: datetime, *roots: x509.Certificate) -> bool:
    """Whether the strict check of EN 319 102-1, 5.6.3 passes at a time, without any network."""
    trusted = [asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in roots]
    policy = CertValidationPolicySpec(
        SimpleTrustManager.build(trusted), CertRevTrustPolicy(REQUIRE_REVINFO)
    )
    spec = PdfSignatureValidationSpec(
        SignatureValidationSpec(
            policy,
            RevocationInfoGatheringSpec(RevinfoOnlineFetchingRule.LOCAL_ONLY),
            ts_cert_validation_policy=policy,
        )
    )
    (seal,) = PdfFileReader(BytesIO(pdf)).embedded_regular_signatures
    timing = ValidationTimingInfo(at, at, point_in_time_validation=False)
    result = asyncio.run(ades_lta_validation(seal, spec, timing))
    return result.ades_subindic == AdESPassed.OK


def test_a_paper_with_its_evidence_passes_after_its_certificate_has_expired(tmp_path: Path) -> None:
    clock, key = Openssl(tmp_path), a_key_that_ends_soon()
    with an_authority(clock) as url:
        lasting = seal_at(url, key, the_evidence(key, clock))
        stamped = seal_at(url, key, None)
    roots = (key.certificates[-1], clock.certificate)
    assert (lasting.level, stamped.level) == (Level.B_LTA, Level.B_T)
    assert is_passed(lasting.content, LATER, *roots)
    assert not is_passed(stamped.content, LATER, *roots)
    assert not is_passed(lasting.content, LATER, a_meets_key().certificate)


def test_the_seal_below_the_evidence_is_as_good_as_before(tmp_path: Path) -> None:
    clock, key = Openssl(tmp_path), a_meets_key()
    with an_authority(clock) as url:
        lasting = seal_at(url, key, Evidence((key.certificate, clock.certificate)))
    assert read_text(lasting.content) == read_text(PDF)
    check_structure(lasting.content, tmp_path)
    seal, stamp = extract_seals(lasting.content)
    assert ask_openssl(seal, key.certificate, tmp_path)[0]
    assert clock.verify(stamp.cms, stamp.covered)[0]
    assert stamp.ends == len(lasting.content)
    told = ask_pdfsig(lasting.content, tmp_path)
    # How pdfsig words both is why this level is no default.
    assert [(one.field, one.validation == GOOD, one.is_whole) for one in told] == [
        ("Seal1", True, False),
        ("Stamp2", False, True),
    ]
    (status,) = ask_library(lasting.content, key.certificate, clock.certificate)
    assert status.bottom_line, status.summary()


def test_a_paper_that_lasts_can_be_sealed_again_and_both_seals_are_good(tmp_path: Path) -> None:
    clock, key = Openssl(tmp_path), a_meets_key()
    with an_authority(clock) as url:
        sealer = Sealer(key, HttpAuthority(url), Evidence((key.certificate, clock.certificate)))
        first = sealer.seal(PDF, an_attestation(at=datetime.now(UTC)))
        second = sealer.seal(first.content, an_attestation(at=datetime.now(UTC)))
    assert [first.seal, second.seal] == ["Seal1", "Seal2"]
    assert second.content.startswith(first.content)
    statuses = ask_library(second.content, key.certificate, clock.certificate)
    assert [status.bottom_line for status in statuses] == [True, True]


class AnswersOnce:
    """An authority that has gone when the whole paper is to be stamped."""

    def __init__(self, authority: HttpAuthority) -> None:
        self.authority = authority
        self.asked = 0

    def stamp(self, digest: bytes, now: datetime) -> Stamp:
        self.asked += 1
        if self.asked > 1:
            raise NotStamped("the authority was not reached")
        return self.authority.stamp(digest, now)


def test_where_only_the_seal_could_be_stamped_the_paper_stays_at_that_level(
    tmp_path: Path,
) -> None:
    clock, key = Openssl(tmp_path), a_meets_key()
    with an_authority(clock) as url:
        sealer = Sealer(key, AnswersOnce(HttpAuthority(url)), Evidence((key.certificate,)))
        sealed = sealer.seal(PDF, an_attestation(at=datetime.now(UTC)))
    assert (sealed.level, sealed.not_stamped) == (Level.B_T, "the authority was not reached")
    assert sealed.stamped_at is not None
    (told,) = ask_pdfsig(sealed.content, tmp_path)
    assert (told.validation, told.is_whole) == (GOOD, True)


def test_without_an_authority_evidence_alone_changes_nothing() -> None:
    key = a_meets_key()
    sealed = Sealer(key, None, Evidence((key.certificate,))).seal(PDF, an_attestation())
    assert sealed.level == Level.B_B
    assert len(extract_seals(sealed.content)) == 1

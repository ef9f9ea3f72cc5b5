"""How can a seal still be checked when its certificate has expired, or its issuer has gone?

The file takes along what it is checked by: certificates and lists of revoked ones (a document
security store), under a time stamp over all of it. That is PAdES baseline B-LTA (EN 319 142-1, 6),
and can be done again with a younger stamp. It is no default: `pdfsig` tells of a seal below such a
stamp that it does not sign the whole file, which those who are no experts misread.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import cast

from asn1crypto import crl as asn1_crl  # type: ignore[import-untyped]
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, enumerate_sig_fields
from pyhanko.sign.signers.cms_embedder import PdfCMSEmbedder, SigIOSetup, SigObjSetup
from pyhanko.sign.signers.pdf_byterange import DocumentTimestamp, PreparedByteRangeDigest
from pyhanko.sign.validation.dss import DocumentSecurityStore

from app.forms.time_stamps import LARGEST_TOKEN, TimeStampAuthority

STAMP_NAME = "Stamp"
DIGEST = "sha256"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the seals and stamps of a paper are checked by, up to their roots."""

    certificates: tuple[x509.Certificate, ...]
    revoked: tuple[x509.CertificateRevocationList, ...] = ()


def make_last(
    pdf: bytes, authority: TimeStampAuthority, evidence: Evidence, now: datetime
) -> bytes:
    """The sealed paper with this evidence in it, stamped as a whole; its seals stay as they are.
    NotStamped where the authority gives no stamp that can be used.
    """
    # 1. The evidence, and a field for the stamp over it.
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    number = sum(1 for _ in enumerate_sig_fields(writer)) + 1
    _put(writer, evidence)
    name = f"{STAMP_NAME}{number}"
    stamping = PdfCMSEmbedder(SigFieldSpec(name, readable_field_name="Time stamp")).write_cms(
        name, writer
    )
    next(stamping)
    # 2. The file as it will be, with room for the stamp, and its digest.
    stamp = DocumentTimestamp(2 * LARGEST_TOKEN)  # type: ignore[no-untyped-call]
    stamping.send(SigObjSetup(stamp))
    digest, out = cast("tuple[PreparedByteRangeDigest, BytesIO]", stamping.send(SigIOSetup(DIGEST)))
    # 3. The stamp, into its room.
    digest.fill_with_cms(out, authority.stamp(digest.document_digest, now).token)
    return out.getvalue()


def _put(writer: IncrementalPdfFileWriter, evidence: Evidence) -> None:
    certificates = [
        asn1_x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in evidence.certificates
    ]
    lists = [
        asn1_crl.CertificateList.load(one.public_bytes(Encoding.DER)) for one in evidence.revoked
    ]
    DocumentSecurityStore.supply_dss_in_writer(
        writer, sig_contents=None, certs=certificates, crls=lists
    )

"""How does one signature get into a PDF, with a key that is loaded once?

pyHanko writes the incremental update and the CMS (RFC 5652) of the subfilter ETSI.CAdES.detached,
with the reference to the certificate that EN 319 142-1 asks for. By itself it would read the key
anew for each signature and sign twice, once to learn how long a signature is; here the key's object
is kept and the room is reckoned.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import cast

from asn1crypto import cms, x509  # type: ignore[import-untyped]
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric.ec import (
    ECDSA,
    EllipticCurvePrivateKey,
    EllipticCurvePublicKey,
)
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter, enumerate_sig_fields
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes, Signer
from pyhanko.stamp.noop import NoOpStampStyle
from pyhanko_certvalidator.registry import SimpleCertificateStore

from app.forms.certificates import PrivateKey, SealingKey
from app.forms.seal_box import SealInBox, put_appearance

DIGEST = "sha256"
ROOM = 1_024
"""Bytes of a CMS beside certificates, signature and stamp; about 600 are used."""

StampIt = Callable[[bytes], cms.ContentInfo | None]


@dataclass(frozen=True, slots=True)
class Attested:
    """What a seal says for itself: whose act the paper tells, what it was, where and when.

    `reason` is what readers of PDFs show beside the seal; `at` is told in its own time zone.
    """

    name: str
    reason: str
    place: str
    at: datetime


@dataclass(frozen=True, slots=True, repr=False)
class Signed:
    """The file with one more signature, and the name of its field.

    Without a `repr`: in a process's main thread Python asks for it after each run of an event
    loop, and writes the whole file out for it, a second for 40 MB.
    """

    content: bytes
    field: str


class KeptKey:
    """A private key and its certificates, as the library for PDFs wants them."""

    def __init__(self, key: SealingKey) -> None:
        self.private_key: PrivateKey = key.private_key
        self.public_key = key.certificate.public_key()
        self.certificate, *others = [
            x509.Certificate.load(one.public_bytes(Encoding.DER)) for one in key.certificates
        ]
        self.store = SimpleCertificateStore()  # type: ignore[no-untyped-call]
        self.store.register_multiple(others)
        certificates = sum(len(one.dump()) for one in (self.certificate, *others))
        # A signature is as long as an RSA key, or twice an EC key and its DER around it.
        self.room = ROOM + certificates + key.private_key.key_size // 4

    def sign(self, content: bytes) -> bytes:
        """A signature over a text. Its certificate is asked about it before it is given out: a
        fault in reckoning, or the certificate of another key, must not seal.
        """
        key, public, algorithm = self.private_key, self.public_key, hashes.SHA256()
        if isinstance(key, EllipticCurvePrivateKey):
            signature = key.sign(content, ECDSA(algorithm))
            cast(EllipticCurvePublicKey, public).verify(signature, content, ECDSA(algorithm))
        else:
            signature = key.sign(content, PKCS1v15(), algorithm)
            cast(RSAPublicKey, public).verify(signature, content, PKCS1v15(), algorithm)
        return signature


class Signatory(Signer):
    """Makes one signature with a kept key."""

    def __init__(self, kept: KeptKey, stamp: StampIt) -> None:
        super().__init__(signing_cert=kept.certificate, cert_registry=kept.store)
        self._kept = kept
        self._stamp = stamp

    @property
    def room(self) -> int:
        """The bytes that its CMS may take, without a stamp."""
        return self._kept.room

    async def async_sign_raw(
        self,
        data: bytes,
        digest_algorithm: str,
        dry_run: bool = False,
    ) -> bytes:
        return self._kept.sign(data)

    async def unsigned_attrs(
        self,
        digest_algorithm: str,
        signature: bytes,
        signed_attrs: cms.CMSAttributes,
        timestamper: object = None,
        dry_run: bool = False,
    ) -> cms.CMSAttributes | None:
        """The stamp over the signature (EN 319 122-1, 5.3), where there is one."""
        token = self._stamp(signature)
        if token is None:
            return None
        return cms.CMSAttributes([{"type": "signature_time_stamp_token", "values": [token]}])


async def add_signature(
    pdf: bytes, signatory: Signatory, attested: Attested, shown: SealInBox | None, stamp_room: int
) -> Signed:
    """The file with one more signature field, signed; `stamp_room` are bytes for a stamp."""
    # 1. The field, with a name that no earlier one has, and what it shows.
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    name = f"Seal{sum(1 for _ in enumerate_sig_fields(writer)) + 1}"
    signer = PdfSigner(
        _told_about(name, attested),
        signatory,
        stamp_style=NoOpStampStyle(),
        new_field_spec=_field(writer, name, attested, shown),
    )
    session = signer.init_signing_session(writer)
    session.system_time = attested.at  # else the library reads a clock of its own
    if shown is not None:
        put_appearance(writer, session.sig_field, shown)
    # 2. The file as it will be, with room for the signature, and its digest.
    room = 2 * (signatory.room + stamp_room)  # written in hexadecimal
    unsigned = session.prepare_tbs_document(validation_info=None, bytes_reserved=room)
    digest, out = unsigned.digest_tbs_document()
    # 3. The signature, into its room.
    attributes = PdfCMSSignedAttributes(signing_time=attested.at)
    await unsigned.perform_signature(digest.document_digest, attributes)
    return Signed(cast(BytesIO, out).getvalue(), name)


def _told_about(name: str, attested: Attested) -> PdfSignatureMetadata:
    return PdfSignatureMetadata(
        field_name=name,
        md_algorithm=DIGEST,
        subfilter=SigSeedSubFilter.PADES,
        name=attested.name or None,
        reason=attested.reason or None,
        location=attested.place or None,
    )


def _field(
    writer: IncrementalPdfFileWriter, name: str, attested: Attested, shown: SealInBox | None
) -> SigFieldSpec:
    words = f"Seal: {attested.reason}"  # what a screen reader says in place of the field's name
    if shown is None:
        return SigFieldSpec(name, readable_field_name=words)
    # The library writes any numbers, though its types speak of whole ones.
    corners = cast("tuple[int, int, int, int]", shown.box.corners_in(writer))
    return SigFieldSpec(name, on_page=shown.box.page - 1, box=corners, readable_field_name=words)

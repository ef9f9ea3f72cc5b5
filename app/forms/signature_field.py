"""How does one signature get into a PDF, with a key that is loaded once?

pyHanko writes the incremental update of the subfilter ETSI.CAdES.detached (EN 319 142-1). By itself
it would read the key anew for each signature and sign twice, once to learn how long a signature is;
here the key is kept, the room is reckoned, and the signature is written by `cms`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import cast

from pyhanko.pdf_utils.generic import pdf_date, pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import SigFieldSpec, SigSeedSubFilter, enumerate_sig_fields
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers.pdf_cms import Signer
from pyhanko.stamp.noop import NoOpStampStyle

from app.forms.cms import KeptKey, StampIt
from app.forms.painting import whole
from app.forms.seal_box import SealInBox, put_appearance

DIGEST = "sha256"
SEAL_NAME = "Seal"


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


def add_signature(
    pdf: bytes,
    key: KeptKey,
    attested: Attested,
    shown: SealInBox | None,
    stamp: StampIt,
    stamp_room: int,
) -> Signed:
    """The file with one more signature field, signed; `stamp_room` are bytes for a stamp."""
    # 1. The field, with a name that no earlier one has, and what it shows.
    writer = IncrementalPdfFileWriter(BytesIO(pdf))
    name = _next_name(writer)
    signer = PdfSigner(
        _told_about(name, attested),
        Signer(signing_cert=key.certificate),
        stamp_style=NoOpStampStyle(),
        new_field_spec=_field(writer, name, attested, shown),
    )
    _tell_when_made(writer, name, attested)
    session = signer.init_signing_session(writer)
    session.system_time = attested.at  # else the library reads a clock of its own
    if shown is not None:
        put_appearance(writer, session.sig_field, shown)
    # 2. The file as it will be, with room for the signature, and its digest.
    room = 2 * (key.room + stamp_room)  # written in hexadecimal
    unsigned = session.prepare_tbs_document(validation_info=None, bytes_reserved=room)
    digest, out = unsigned.digest_tbs_document()
    # 3. The signature, into its room.
    digest.fill_with_cms(out, key.sign_digest(digest.document_digest, stamp))
    return Signed(cast(BytesIO, out).getvalue(), name)


def _tell_when_made(writer: IncrementalPdfFileWriter, name: str, attested: Attested) -> None:
    """A file is made when it is first sealed: drawn, it says no time, so that the same facts give
    the same bytes.
    """
    if name == f"{SEAL_NAME}1" and "/Info" in writer.trailer:
        about = writer.trailer["/Info"]
        about[pdf_name("/CreationDate")] = pdf_date(attested.at)
        writer.update_container(about)


def _next_name(writer: IncrementalPdfFileWriter) -> str:
    names = [name for name, _, _ in enumerate_sig_fields(writer) if name.startswith(SEAL_NAME)]
    return f"{SEAL_NAME}{len(names) + 1}"


def _told_about(name: str, attested: Attested) -> PdfSignatureMetadata:
    return PdfSignatureMetadata(
        field_name=name,
        md_algorithm=DIGEST,
        subfilter=SigSeedSubFilter.PADES,
        name=whole(attested.name) or None,
        reason=whole(attested.reason) or None,
        location=whole(attested.place) or None,
    )


def _field(
    writer: IncrementalPdfFileWriter, name: str, attested: Attested, shown: SealInBox | None
) -> SigFieldSpec:
    words = (
        f"Seal: {whole(attested.reason)}"  # what a screen reader says in place of the field's name
    )
    if shown is None:
        return SigFieldSpec(name, readable_field_name=words)
    # The library writes any numbers, though its types speak of whole ones.
    corners = cast("tuple[int, int, int, int]", shown.box.corners_in(writer))
    return SigFieldSpec(name, on_page=shown.box.page - 1, box=corners, readable_field_name=words)

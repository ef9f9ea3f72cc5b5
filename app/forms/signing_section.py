"""What do those who sign have before them?

All signatures stand on one page, and on it the verdict that they sign: in full where the page holds
both, else again in short.
"""

from dataclasses import dataclass
from functools import partial

from app.forms.flow import Flow
from app.forms.further_section import write_further
from app.forms.record_head import PrintedHead, beside_code, write_record_head
from app.forms.sheet_parts import GAP, write_missing
from app.forms.signature_section import InkField, Signature, write_ink_fields, write_signatures
from app.forms.verdict_section import Verdict, write_verdict_again


@dataclass(frozen=True, slots=True)
class Signing:
    """Who signed on a device, who may sign in ink, the record's head at printing, and as what
    somebody may sign on a device later.

    A sheet that nobody signs on a device does not say that nobody has.
    """

    signatures: tuple[Signature, ...]
    ink_fields: tuple[InkField, ...]
    head: PrintedHead
    is_signed_on_device: bool = True
    further: tuple[str, ...] = ()


def write_signing(flow: Flow, signing: Signing, verdict: Verdict, page: int) -> None:
    """The signatures with the verdict that stands in full on this page of the sheet."""
    write = partial(write_signed, signing=signing)
    if len(flow.pages) != page or not flow.fits(write):
        flow.keep(partial(_write_with_verdict, signing=signing, verdict=verdict, page=page))


def _write_with_verdict(flow: Flow, signing: Signing, verdict: Verdict, page: int) -> None:
    write_verdict_again(flow, verdict, page)
    write_signed(flow, signing)


def write_signed(flow: Flow, signing: Signing) -> None:
    """The signatures alone, on a sheet that shows no verdict."""
    with beside_code(flow, signing.head):
        if signing.is_signed_on_device:
            write_signatures(flow, signing.signatures)
        write_record_head(flow, signing.head)
        flow.skip(GAP * 0.7)
        write_ink_fields(flow, signing.ink_fields)
    write_further(flow, signing.further)
    write_missing(flow)

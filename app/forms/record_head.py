"""Which state of the record does a sheet bear witness to?

Printed short, to be read out and compared: how many entries, and the beginning of the root over
them. Where the head was signed, the whole signed note stands beside it as a QR code (ISO/IEC
18004), which any phone reads, and in the PDF as a file. What a note holds is left to the record.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache

from app.forms.attachment import Attachment
from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import Modules
from app.forms.qr_code import Rows, make_modules, measure
from app.forms.sheet_parts import LABEL
from app.forms.signature_section import group_digest
from app.forms.typesetting import Segment

CODE_SAYS = "QR code: the signed head of the record."
WHAT_FOR = "Whoever keeps this sheet can prove a later rewrite of the record."
FIELD = "record head"
FILE = "record-head.note"


@dataclass(frozen=True, slots=True)
class PrintedHead:
    """The record's head when a sheet is printed: its size, its root in hex, and the signed note
    about it (C2SP), which is empty while nobody has signed.
    """

    size: int = 0
    root: str = ""
    note: str = ""

    @property
    def short(self) -> str:
        """What people read to each other."""
        return f"{self.size} \u00b7 {group_digest(self.root)}"


UNKNOWN_HEAD = PrintedHead()


def write_record_head(flow: Flow, head: PrintedHead) -> None:
    """The head in short, and what it is good for; nothing where none is known."""
    if head.root:
        short = Segment(f"Record head {head.short}", FIELD, Weight.BOLD)
        flow.write([short, Segment(f"  \u00b7  {WHAT_FOR}", FIELD)], LABEL)


@contextmanager
def beside_code(flow: Flow, head: PrintedHead) -> Iterator[None]:
    """What is written meanwhile stands at the left of the head's code, where there is one."""
    if not head.note:
        yield
        return
    rows = encode(head.note)
    side, quiet = measure(rows)
    flow.need(side)
    pages, top = len(flow.pages), flow.y
    tag = flow.tag("Figure", CODE_SAYS)
    said = Attachment(FILE, "The signed head of the record that this sheet shows", head.note)
    flow.put(Modules(flow.left + flow.width - side, top, side, rows, said, tag))
    flow.width -= side + quiet
    yield
    flow.width += side + quiet
    if len(flow.pages) == pages:
        flow.y = max(flow.y, top + side + quiet)


@lru_cache(maxsize=16)
def encode(note: str) -> Rows:
    """The modules of a note's code, row by row; kept, since a sheet may be planned three times."""
    return make_modules(note)

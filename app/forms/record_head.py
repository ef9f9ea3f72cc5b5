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

import segno

from app.forms.attachment import Attachment
from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import Modules
from app.forms.paper import POINTS_PER_MM
from app.forms.sheet_parts import LABEL
from app.forms.signature_section import group_digest
from app.forms.typesetting import Segment

SMALLEST_CODE_MM = 25.0
SMALLEST_MODULE_MM = 0.4  # phones read it from a copy, too (common practice)
QUIET_MODULES = 4  # ISO/IEC 18004, 5.3.8: so much around a code stays white
CORRECTION = "M"  # 15 % of the code may be dirty or torn
MASK = 3
"""The standard lets the encoder weigh eight masks, which takes 10 ms; every reader reads any, and
a note is mostly random digits, for which all are alike."""
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
def encode(note: str) -> tuple[tuple[bool, ...], ...]:
    """The modules of a note's code, row by row; kept, since a sheet may be planned three times."""
    code = segno.make_qr(
        note.encode("utf-8"), error=CORRECTION, mask=MASK, mode="byte", boost_error=False
    )
    return tuple(tuple(map(bool, row)) for row in code.matrix)


def measure(rows: tuple[tuple[bool, ...], ...]) -> tuple[float, float]:
    """The side of a code and the white that it needs around it, in points."""
    module = max(SMALLEST_MODULE_MM, SMALLEST_CODE_MM / len(rows)) * POINTS_PER_MM
    return module * len(rows), module * QUIET_MODULES

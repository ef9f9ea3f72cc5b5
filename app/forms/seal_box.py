"""Where on a sheet does a seal show itself, and what stands there?

A sheet may keep boxes free for officials who sign later (`further_section`); they are written down
with each page as private data of ours (ISO 32000-1, 14.5), so that whoever seals the stored file
years later finds them in it. What a box shows is drawn with the forms' own typefaces, so that a
name in any script is printed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO

from pyhanko.pdf_utils.generic import DictionaryObject, IndirectObject, pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.pdf_utils.rw_common import PdfHandler
from pyhanko.sign.fields import enumerate_sig_fields

from app.forms.fonts import Weight
from app.forms.painting import PIECES, RESERVED, Page, SetText, paint_piece
from app.forms.typesetting import Line, Segment, Typesetter

LARGEST, SMALLEST, STEP = 9.0, 4.5, 0.5
PADDING = 3.0


@dataclass(frozen=True, slots=True)
class Box:
    """A place on a sheet: the page from 1, and points from its upper left corner."""

    page: int
    x: float
    y: float
    width: float
    height: float
    role: str = ""

    def corners_in(self, pdf: PdfHandler) -> tuple[float, float, float, float]:
        """Its lower left and upper right corner as PDF counts them, from the page's lower left."""
        top = _height_of(pdf, self.page)
        return (self.x, top - self.y - self.height, self.x + self.width, top - self.y)


@dataclass(frozen=True, slots=True)
class SealInBox:
    """A box and what a seal shows in it: who signed, then further lines."""

    box: Box
    lines: Sequence[str]


def free_boxes(pdf: bytes) -> tuple[Box, ...]:
    """The boxes that a sheet keeps for further signatures and no seal shows itself in yet."""
    reader = PdfFileReader(BytesIO(pdf))
    taken = {corners for _, _, field in enumerate_sig_fields(reader) for corners in _rect(field)}
    return tuple(
        box for box in _reserved(reader) if tuple(map(round, box.corners_in(reader))) not in taken
    )


def _reserved(reader: PdfFileReader) -> Iterator[Box]:
    for number in range(1, int(reader.root["/Pages"]["/Count"]) + 1):
        pieces = _page(reader, number).get("/PieceInfo", {}).get(PIECES, {}).get("/Private", {})
        for x, y, width, height, role in pieces.get(RESERVED, ()):
            yield Box(number, float(x), float(y), float(width), float(height), str(role))


def _rect(field: IndirectObject) -> Iterator[tuple[int, ...]]:
    rect = field.get_object().get("/Rect", ())  # type: ignore[no-untyped-call]
    yield tuple(round(float(edge)) for edge in rect)


def _page(pdf: PdfHandler, number: int) -> DictionaryObject:
    reference, _ = pdf.find_page_for_modification(number - 1)  # type: ignore[no-untyped-call]
    page: DictionaryObject = reference.get_object()
    return page


def _height_of(pdf: PdfHandler, number: int) -> float:
    _, low, _, high = _page(pdf, number)["/MediaBox"]
    return float(high) - float(low)


def put_appearance(
    writer: IncrementalPdfFileWriter, field: DictionaryObject, shown: SealInBox
) -> None:
    """Let a signature's field show the lines in its box."""
    piece = PdfFileReader(BytesIO(draw_seal(shown)))
    appearance = writer.import_page_as_xobject(piece)
    shows = DictionaryObject({pdf_name("/N"): appearance})  # type: ignore[no-untyped-call]
    field[pdf_name("/AP")] = shows
    writer.update_container(field)


def draw_seal(shown: SealInBox) -> bytes:
    """What a seal shows, as a page of the size of its box."""
    width, height = shown.box.width, shown.box.height
    page: Page = []
    y = PADDING
    for line in _fit(shown.lines, width - 2 * PADDING, height - 2 * PADDING):
        page.append(SetText(PADDING, y + line.top, line))
        y += line.height
    return paint_piece(page, width, height)


def _fit(lines: Sequence[str], width: float, height: float) -> list[Line]:
    """The lines in the largest size in which all have room; in the smallest, as many as have."""
    size = LARGEST
    while True:
        set_in_size = _set(lines, size, width)
        if _tall(set_in_size) <= height:
            return set_in_size
        if size <= SMALLEST:
            break
        size -= STEP
    while _tall(set_in_size) > height and len(set_in_size) > 1:
        set_in_size.pop()
    return set_in_size


def _set(lines: Sequence[str], size: float, width: float) -> list[Line]:
    typesetter = Typesetter()
    first, *further = lines
    texts = [Segment(first, "seal", Weight.BOLD), *(Segment(one, "seal") for one in further)]
    return [line for one in texts for line in typesetter.set_lines([one], size, width)]


def _tall(lines: Sequence[Line]) -> float:
    return sum(line.height for line in lines)

"""How do planned pages become a PDF?

A page is a list of shapes, measured in points from its upper left corner. ReportLab makes the
document, the lines and the areas; text goes in as glyphs, with the text behind them for readers,
search and screen readers (ISO 32000-1, 9.4 and 14.9.4). The same pages give the same bytes.
What stands on a page is left to `flow`, `zone_drawing` and the forms.
"""

import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, groupby

from reportlab.pdfbase import pdfdoc  # type: ignore[import-untyped]
from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped]
from reportlab.pdfgen.pathobject import PDFPathObject  # type: ignore[import-untyped]

from app.forms.attachment import Attachment, attach
from app.forms.embedding import (
    NO_FONT,
    EmbeddedFont,
    embed_font,
    prepare_reportlab,
    to_hex,
)
from app.forms.fonts import Typeface, Weight
from app.forms.glyph_code import order_clusters, show_glyphs, touch_baseline
from app.forms.paper import Paper
from app.forms.structure import DECORATION, Structure, Tag
from app.forms.typesetting import Line

LANGUAGE = "en-GB"
MAKER = "Zone Docket"
PIECES, RESERVED = "/ZoneDocket", "/Reserved"
"""Private data of a page (ISO 32000-1, 14.5): the places that are kept for further signatures."""
LONG_AGO = "(D:20000101000000Z)"  # the standard wants a time; the same pages give the same bytes
PDF_VERSION = (1, 5)  # the first with all that is used here: language, ActualText, viewer's title


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line."""

    x_from: float
    y_from: float
    x_to: float
    y_to: float
    thickness: float = 0.5
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Trace:
    """A line through points, open at its ends."""

    points: tuple[tuple[float, float], ...]
    thickness: float = 0.5
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Area:
    """A polygon, filled with a grey (0 black, 1 white) and outlined where it has a thickness."""

    corners: tuple[tuple[float, float], ...]
    grey: float | None = None
    thickness: float = 0.0


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, filled with a grey and outlined in black."""

    x: float
    y: float
    radius: float
    grey: float


@dataclass(frozen=True, slots=True)
class SetText:
    """A line of text; y is its baseline, `tag` what it is part of."""

    x: float
    y: float
    line: Line
    grey: float = 0.0
    tag: Tag | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Modules:
    """A square of black and white modules, such as a QR code; x and y are its upper left corner.

    What it says can go along as a file.
    """

    x: float
    y: float
    size: float
    rows: tuple[tuple[bool, ...], ...]
    says: Attachment | None = None
    tag: Tag | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Photograph:
    """A JPEG, put into the file byte for byte; x and y are its upper left corner."""

    x: float
    y: float
    width: float
    height: float
    jpeg: bytes
    tag: Tag | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Reserved:
    """A place that is kept free for whoever signs later, by what they sign as."""

    x: float
    y: float
    width: float
    height: float
    role: str


Shape = Stroke | Trace | Area | Disc | SetText | Modules | Photograph | Reserved
Page = list[Shape]


@dataclass(frozen=True, slots=True)
class About:
    """What a reader shows about the file."""

    title: str
    subject: str


def box(x: float, y: float, width: float, height: float) -> tuple[tuple[float, float], ...]:
    """The corners of a rectangle from its upper left one."""
    return ((x, y), (x + width, y), (x + width, y + height), (x, y + height))


def moved(shape: Shape, right: float, down: float) -> Shape:
    """The same shape elsewhere."""
    match shape:
        case Stroke():
            return replace(
                shape,
                x_from=shape.x_from + right,
                y_from=shape.y_from + down,
                x_to=shape.x_to + right,
                y_to=shape.y_to + down,
            )
        case Trace():
            return replace(shape, points=tuple((x + right, y + down) for x, y in shape.points))
        case Area():
            return replace(shape, corners=tuple((x + right, y + down) for x, y in shape.corners))
        case _:
            return replace(shape, x=shape.x + right, y=shape.y + down)


def paint(pages: Sequence[Page], paper: Paper, about: About) -> bytes:
    """The pages as one PDF."""
    out = io.BytesIO()
    sheet = paper.sheet
    canvas = _canvas(out, sheet.width, sheet.height)
    _describe(canvas, about)
    structure = Structure()
    painter = _Painter(canvas, sheet.height, structure)
    for page in pages:
        painter.paint_page(page)
    structure.put_into(canvas._doc)
    canvas.save()
    return out.getvalue()


def paint_piece(page: Page, width: float, height: float) -> bytes:
    """Shapes as a PDF of one page of this size, to be put into another; it has no structure."""
    out = io.BytesIO()
    canvas = _canvas(out, width, height)
    _Painter(canvas, height).paint_page(page)
    canvas.save()
    return out.getvalue()


def _canvas(out: io.BytesIO, width: float, height: float) -> Canvas:
    prepare_reportlab()
    return Canvas(
        out,
        pagesize=(width, height),
        pageCompression=1,
        invariant=1,
        pdfVersion=PDF_VERSION,
        initialFontName=NO_FONT,
        lang=LANGUAGE,
    )


def _describe(canvas: Canvas, about: About) -> None:
    canvas.setTitle(whole(about.title))
    canvas.setSubject(whole(about.subject))
    canvas.setAuthor(MAKER)
    canvas.setCreator(MAKER)
    canvas.setViewerPreference("DisplayDocTitle", "true")


def whole(text: str) -> str:
    """A text as a file can hold it."""
    # Half of a surrogate pair is no character, and cannot be written into a file.
    return text.encode("utf-8", "replace").decode("utf-8")


def _black_runs(row: Sequence[bool]) -> Iterator[tuple[int, int]]:
    start = 0
    for is_black, run in groupby(row):
        length = len(list(run))
        if is_black:
            yield start, length
        start += length


def _note(place: Reserved) -> str:
    edges = f"{place.x:.2f} {place.y:.2f} {place.width:.2f} {place.height:.2f}"
    return f"[{edges} <FEFF{to_hex(place.role)}>]"


@dataclass(slots=True)
class _Painter:
    canvas: Canvas
    height: float
    structure: Structure | None = None
    open: Tag | None = None
    ended_whole: dict[Tag, bool] = field(default_factory=dict)
    fonts: dict[tuple[str, Weight], EmbeddedFont] = field(default_factory=dict)

    def paint_page(self, page: Page) -> None:
        if self.structure is not None:
            self.structure.turn_page()
        for shape in page:
            self._mark(shape)
            self._paint(shape)
        self._close()
        self.canvas.showPage()
        self._note_reserved([shape for shape in page if isinstance(shape, Reserved)])

    def _paint(self, shape: Shape) -> None:
        match shape:
            case Stroke():
                self._paint_stroke(shape)
            case Trace():
                self._paint_trace(shape)
            case Area():
                self._paint_area(shape)
            case Disc():
                self._paint_disc(shape)
            case SetText():
                self._paint_text(shape)
            case Modules():
                self._paint_modules(shape)
            case Photograph():
                self._paint_photograph(shape)
            case Reserved():
                self._paint_reserved(shape)

    def _mark(self, shape: Shape) -> None:
        """Say what is drawn next, where that is not what was drawn last; text says it itself."""
        tag = getattr(shape, "tag", None) or DECORATION
        wanted = None if isinstance(shape, SetText) and tag is not DECORATION else tag
        if self.structure is None or wanted is self.open:
            return
        self._close()
        if wanted is not None:
            self.canvas._code.append(self._begin(self.structure, wanted))
            self.open = wanted

    @staticmethod
    def _begin(structure: Structure, tag: Tag) -> str:
        if tag is DECORATION:
            return "/Artifact BMC"
        return f"/{tag.role} <</MCID {structure.mark(tag)}>> BDC"

    def _close(self) -> None:
        if self.open is not None:
            self.canvas._code.append("EMC")
            self.open = None

    def _up(self, y: float) -> float:
        return self.height - y

    def _paint_stroke(self, stroke: Stroke) -> None:
        self.canvas.setLineWidth(stroke.thickness)
        self.canvas.setDash(list(stroke.dashes))
        self.canvas.line(stroke.x_from, self._up(stroke.y_from), stroke.x_to, self._up(stroke.y_to))

    def _paint_trace(self, trace: Trace) -> None:
        self.canvas.setLineWidth(trace.thickness)
        self.canvas.setDash(list(trace.dashes))
        self.canvas.drawPath(self._path(trace.points), stroke=1, fill=0)

    def _path(self, points: Sequence[tuple[float, float]]) -> PDFPathObject:
        (x, y), *further = points
        path = self.canvas.beginPath()
        path.moveTo(x, self._up(y))
        for x, y in further:
            path.lineTo(x, self._up(y))
        return path

    def _paint_area(self, area: Area) -> None:
        path = self._path(area.corners)
        path.close()
        self.canvas.setDash([])
        self.canvas.setLineWidth(area.thickness)
        if area.grey is not None:
            self.canvas.setFillGray(area.grey)
        self.canvas.drawPath(path, stroke=area.thickness > 0, fill=area.grey is not None)

    def _paint_disc(self, disc: Disc) -> None:
        self.canvas.setDash([])
        self.canvas.setLineWidth(0.8)
        self.canvas.setFillGray(disc.grey)
        self.canvas.circle(disc.x, self._up(disc.y), disc.radius, stroke=1, fill=1)

    def _paint_text(self, text: SetText) -> None:
        self.canvas.setFillGray(text.grey)
        place = f"1 0 0 1 {text.x:.2f} {self._up(text.y):.2f} Tm"
        # ReportLab's own text calls know no glyphs, so the code for them is put in directly.
        code = self._as_part(text.tag, self._show(text))
        self.canvas._code.append(f"BT {place} {' '.join(code)} ET")

    def _show(self, text: SetText) -> list[str]:
        """The code that shows a line."""
        code: list[str] = []
        parts_words = self._parts_words(text)
        for (typeface, weight), runs in groupby(
            text.line.runs, key=lambda run: (run.typeface, run.weight)
        ):
            font = self._embed(typeface, weight)
            code.append(f"/{font.name} {text.line.size:.2f} Tf")
            if parts_words:
                code += touch_baseline(font, forwards=True)
                parts_words = False
            code += show_glyphs(
                chain.from_iterable(map(order_clusters, runs)), font, text.line.size
            )
        return code

    def _as_part(self, tag: Tag | None, code: Sequence[str]) -> Iterator[str]:
        """The code as part of an element. Behind a span it is marked anew, since some readers take
        the end of the span for that of the element.
        """
        if self.structure is None or tag is None or tag is DECORATION:
            yield from code
            return
        yield self._begin(self.structure, tag)
        for place, part in enumerate(code, 1):
            yield part
            if part == "EMC" and place < len(code):
                yield f"EMC {self._begin(self.structure, tag)}"
        yield "EMC"

    def _paint_modules(self, modules: Modules) -> None:
        # One path of one rectangle a run of black, in units of modules: areas of their own would
        # leave hairlines between the rows.
        unit = modules.size / len(modules.rows)
        place = f"{unit:.4f} 0 0 {-unit:.4f} {modules.x:.2f} {self._up(modules.y):.2f} cm"
        runs = (
            f"{start} {y} {length} 1 re"
            for y, row in enumerate(modules.rows)
            for start, length in _black_runs(row)
        )
        self.canvas._code.append(f"q 0 g {place} {' '.join(runs)} f Q")
        if modules.says is not None:
            attach(self.canvas._doc, modules.says)

    def _paint_photograph(self, photograph: Photograph) -> None:
        document = self.canvas._doc
        name = hashlib.sha256(photograph.jpeg).hexdigest()
        known_as = document.getXObjectName(name)
        if known_as not in document.idToObject:
            image = pdfdoc.PDFImageXObject(name)
            # ReportLab's own call would decode it first, to give it a name.
            if not image.loadImageFromJPEG(io.BytesIO(photograph.jpeg)):
                raise ValueError("this is no JPEG")
            document.addForm(name, image)
        self.canvas._formsinuse.append(name)
        left, bottom = photograph.x, self._up(photograph.y + photograph.height)
        place = f"{photograph.width:.2f} 0 0 {photograph.height:.2f} {left:.2f} {bottom:.2f} cm"
        self.canvas._code.append(f"q {place} /{known_as} Do Q")

    def _paint_reserved(self, place: Reserved) -> None:
        corners = box(place.x, place.y, place.width, place.height)
        self._paint_area(Area(corners, thickness=0.6))

    def _note_reserved(self, places: Sequence[Reserved]) -> None:
        if places:
            noted = " ".join(map(_note, places))
            pieces = (
                f"<< {PIECES} << /LastModified {LONG_AGO} /Private << {RESERVED} [{noted}] >> >> >>"
            )
            self.canvas._doc.Pages.pages[-1].PieceInfo = pieces

    def _parts_words(self, text: SetText) -> bool:
        """Whether a space belongs before a line, since its element's last line ended with a word:
        what is read aloud or copied by the structure has no line ends.
        """
        if self.structure is None or text.tag is None:
            return False
        follows = self.ended_whole.get(text.tag, False)
        self.ended_whole[text.tag] = not text.line.goes_on
        return follows

    def _embed(self, typeface: Typeface, weight: Weight) -> EmbeddedFont:
        key = (typeface.family, weight)
        if key not in self.fonts:
            self.fonts[key] = embed_font(self.canvas._doc, typeface, weight)
        return self.fonts[key]

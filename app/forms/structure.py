"""In which order is a sheet read aloud, and what is a heading, a paragraph or a table in it?

Tagged PDF (ISO 32000-1, 14.7 and 14.8): what is drawn is marked with a number on its page, and a
tree of elements says what the numbers are. Elements stand in the order in which the form made them,
which need not be that of drawing: a label and its value belong together, wherever the values of the
row are drawn. Whatever belongs to no element, such as lines and the feet of pages, is decoration.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from reportlab.pdfbase import pdfdoc  # type: ignore[import-untyped]

from app.forms.embedding import to_hex


@dataclass(frozen=True, slots=True, eq=False)
class Tag:
    """One element: its standard type, what it is part of, and the words for what cannot be read.

    `order` is its place among those that it stands beside.
    """

    role: str
    within: Tag | None = None
    order: int = 0
    says: str = ""


DECORATION = Tag("Artifact")
"""What a reader leaves out, such as a heading that comes again on the next page."""


class _Object(pdfdoc.PDFObject):  # type: ignore[misc]
    """An object of the file, as text."""

    __RefOnly__ = 1

    def __init__(self, text: str = "") -> None:
        self.text = text

    def format(self, _document: pdfdoc.PDFDocument) -> bytes:
        return self.text.encode("ascii")


@dataclass(slots=True)
class Structure:
    """The elements of one document, gathered while its pages are painted."""

    pages: list[list[Tag]] = field(default_factory=list)

    def turn_page(self) -> None:
        """Begin the marks of the next page."""
        self.pages.append([])

    def mark(self, tag: Tag) -> int:
        """A number for what is drawn next on this page as part of the element."""
        marks = self.pages[-1]
        marks.append(tag)
        return len(marks) - 1

    def put_into(self, document: pdfdoc.PDFDocument) -> None:
        """Add the tree to the document, whose pages have all been painted."""
        _Tree(document, self.pages).write()


class _Tree:
    """The objects of a structure, each with its number in the file."""

    def __init__(self, document: pdfdoc.PDFDocument, pages: list[list[Tag]]) -> None:
        self.document = document
        self.marks = pages
        self.root, self.whole, self.parents = _Object(), _Object(), _Object()
        self.numbers = {one: self._number(one) for one in (self.root, self.whole, self.parents)}
        self.elements = {tag: _Object() for tag in _all(pages)}
        self.of = {tag: self._number(one) for tag, one in self.elements.items()}
        self.page_numbers = [self._number(page) for page in document.Pages.pages]

    def _number(self, one: pdfdoc.PDFObject) -> int:
        reference = self.document.Reference(one)
        number: int = self.document.idToObjectNumberAndVersion[reference.name][0]
        return number

    def write(self) -> None:
        kids, places = self._parts()
        for tag, element in self.elements.items():
            element.text = self._element(tag, kids[tag], places[tag])
        self.whole.text = (
            f"<</Type/StructElem/S/Document/P {self.numbers[self.root]} 0 R"
            f"/K[{self._references(kids[None])}]>>"
        )
        self.parents.text = f"<</Nums[{' '.join(self._marked())}]>>"
        self.root.text = (
            f"<</Type/StructTreeRoot/K {self.numbers[self.whole]} 0 R"
            f"/ParentTree {self.numbers[self.parents]} 0 R/ParentTreeNextKey {len(self.marks)}>>"
        )
        self._tell_document()

    def _parts(self) -> tuple[dict[Tag | None, list[Tag]], dict[Tag, list[tuple[int, int]]]]:
        """The elements within each, and where each was drawn: page and number on it."""
        kids: dict[Tag | None, list[Tag]] = defaultdict(list)
        for tag in sorted(self.elements, key=lambda tag: tag.order):
            kids[tag.within].append(tag)
        places: dict[Tag, list[tuple[int, int]]] = defaultdict(list)
        for page, tags in enumerate(self.marks):
            for number, tag in enumerate(tags):
                places[tag].append((page, number))
        return kids, places

    def _element(self, tag: Tag, kids: list[Tag], places: list[tuple[int, int]]) -> str:
        above = self.numbers[self.whole] if tag.within is None else self.of[tag.within]
        parts = [f"<</Type/StructElem/S/{tag.role}/P {above} 0 R"]
        if places:
            parts.append(f"/Pg {self.page_numbers[places[0][0]]} 0 R")
        inside = " ".join(filter(None, [self._references(kids), self._drawn(places)]))
        parts.append(f"/K[{inside}]")
        if tag.says:
            parts.append(f"/Alt<FEFF{to_hex(tag.says)}>")
        if tag.role == "TH":
            parts.append("/A<</O/Table/Scope/Column>>")
        return "".join([*parts, ">>"])

    def _drawn(self, places: list[tuple[int, int]]) -> str:
        """The numbers on the element's first page, and those on others with their page."""
        first = places[0][0] if places else 0
        return " ".join(
            str(number)
            if page == first
            else f"<</Type/MCR/Pg {self.page_numbers[page]} 0 R/MCID {number}>>"
            for page, number in places
        )

    def _references(self, tags: Iterable[Tag]) -> str:
        return " ".join(f"{self.of[tag]} 0 R" for tag in tags)

    def _marked(self) -> Iterator[str]:
        for page, tags in enumerate(self.marks):
            yield f"{page}[{self._references(tags)}]"

    def _tell_document(self) -> None:
        self.document.Catalog.StructTreeRoot = self.root
        self.document.Catalog.MarkInfo = _Object("<</Marked true>>")
        for number, page in enumerate(self.document.Pages.pages):
            # The library writes of a page only what it has a name for.
            page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
            page.StructParents, page.Tabs = number, pdfdoc.PDFName("S")


def _all(pages: Iterable[Iterable[Tag]]) -> list[Tag]:
    """Each element that is drawn, and each that one of them is part of, in the order of its use."""
    found: dict[Tag, None] = {}
    for tags in pages:
        for tag in tags:
            one: Tag | None = tag
            while one is not None and one not in found:
                found[one] = None
                one = one.within
    return list(found)

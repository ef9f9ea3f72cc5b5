"""Reading XLSX: from the parts of a workbook to rows of cells.

Follows SpreadsheetML (ECMA-376, Part 1, chapter 18) as far as a plain list needs it: the first
visible sheet that holds anything, its texts and numbers. Formulas, macros, links, pictures and
comments are never evaluated. What the columns mean is left to `app.sheets.table`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from xml.sax.xmlreader import AttributesImpl

from openpyxl.styles.numbers import BUILTIN_FORMATS  # type: ignore[import-untyped]
from openpyxl.utils.datetime import (  # type: ignore[import-untyped]
    MAC_EPOCH,
    WINDOWS_EPOCH,
)

from app.sheets.cells import Grid, GridRow
from app.sheets.limits import MAX_PARTS
from app.sheets.package import Package, PartHandler, local_name, resolve_part
from app.sheets.problems import SheetRefused
from app.sheets.worksheet import SheetHandler, SheetTexts, TextBuffer

_NO_WORKBOOK = (
    "This file is a zip archive, but not an XLSX workbook. Save the list as XLSX or CSV "
    "and send that."
)


# Longer format codes are not written by any program, and slow to look at.
_LONGEST_CODE = 255


@dataclass(slots=True)
class _Relations:
    """What a part points to: by id, and by the last word of its type."""

    by_id: dict[str, str] = field(default_factory=dict)
    by_kind: dict[str, str] = field(default_factory=dict)


def read_workbook_grid(content: bytes) -> Grid:
    """The rows of the first visible sheet that is not empty."""
    package = Package(content)
    if any(name.startswith("xl/externalLinks/") for name in package.names()):
        raise SheetRefused(
            "This workbook takes values from other files. Paste the list as plain values into a "
            "new workbook and send that."
        )
    return Grid(_read_first_sheet(package), rows_may_be_short=True)


def _read_first_sheet(package: Package) -> Iterator[GridRow]:
    root = _read_relations(package, "")
    main = root.by_kind.get("officeDocument", "")
    if not package.has(main) or main.endswith(".bin"):
        raise SheetRefused(_NO_WORKBOOK)
    relations = _read_relations(package, main)
    book = _BookHandler()
    package.read_xml(main, book)
    texts = _read_texts(package, relations, book.epoch)
    for relation in book.visible_sheets[:MAX_PARTS]:
        rows = _stream_sheet(package, relations.by_id.get(relation, ""), texts)
        first = next(rows, None)
        if first is not None:
            return chain([first], rows)
    return iter(())


def _stream_sheet(package: Package, part: str, texts: SheetTexts) -> Iterator[GridRow]:
    handler = SheetHandler(texts)
    for _ in package.stream_xml(part, handler):
        yield from handler.take_rows()


def _read_texts(package: Package, relations: _Relations, epoch: datetime) -> SheetTexts:
    strings, styles = _StringsHandler(), _StylesHandler()
    if part := relations.by_kind.get("sharedStrings"):
        package.read_xml(part, strings)
    if part := relations.by_kind.get("styles"):
        package.read_xml(part, styles)
    return SheetTexts(strings.texts, styles.codes(), epoch)


def _read_relations(package: Package, part: str) -> _Relations:
    folder, _, name = part.rpartition("/")
    source = f"{folder}/_rels/{name}.rels".lstrip("/")
    if not package.has(source):
        raise SheetRefused(_NO_WORKBOOK)
    handler = _RelationsHandler(part)
    package.read_xml(source, handler)
    return handler.found


class _RelationsHandler(PartHandler):
    """Targets inside the archive; those outside are never followed."""

    def __init__(self, base: str) -> None:
        super().__init__()
        self._base = base
        self.found = _Relations()

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        if kind != "Relationship" or attrs.get("TargetMode") == "External":
            return
        part = resolve_part(self._base, attrs.get("Target", ""))
        self.found.by_id[attrs.get("Id", "")] = part
        self.found.by_kind.setdefault(attrs.get("Type", "").rpartition("/")[2], part)


class _BookHandler(PartHandler):
    """The sheets that a person sees, in their order, and where dates count from."""

    def __init__(self) -> None:
        super().__init__()
        self.visible_sheets: list[str] = []
        self.epoch: datetime = WINDOWS_EPOCH

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        if kind == "workbookPr" and attrs.get("date1904") in ("1", "true"):
            self.epoch = MAC_EPOCH
        if kind == "sheet" and attrs.get("state", "visible") == "visible":
            relation = next((attrs[key] for key in attrs.getNames() if local_name(key) == "id"), "")
            self.visible_sheets.append(relation)


class _StringsHandler(PartHandler):
    """The table of texts that cells point into; phonetic guides are left out."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._buffer = TextBuffer()

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        if kind == "si":
            self._buffer.clear()
        self._buffer.open(kind)

    def finish(self, kind: str) -> None:
        self._buffer.close(kind)
        if kind == "si":
            self.texts.append(self._buffer.text())

    def characters(self, content: str) -> None:
        self._buffer.add(content)


class _StylesHandler(PartHandler):
    """The number format of each cell style, by the style's index."""

    def __init__(self) -> None:
        super().__init__()
        self._own: dict[int, str] = {}
        self._formats: list[int] = []
        self._in_cell_styles = False

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        if kind == "numFmt":
            self._own[int(attrs.get("numFmtId", "0"))] = attrs.get("formatCode", "")[:_LONGEST_CODE]
        elif kind == "cellXfs":
            self._in_cell_styles = True
        elif kind == "xf" and self._in_cell_styles:
            self._formats.append(int(attrs.get("numFmtId", "0")))

    def finish(self, kind: str) -> None:
        if kind == "cellXfs":
            self._in_cell_styles = False

    def codes(self) -> list[str]:
        """The format codes; own ones go before those that every workbook has."""
        known: dict[int, str] = {**BUILTIN_FORMATS, **self._own}
        return [known.get(number, "General") for number in self._formats]

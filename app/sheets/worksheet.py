"""Reading one sheet of a workbook as a stream of rows.

Carries out SpreadsheetML's sheetData (ECMA-376, Part 1, 18.3.1). Only rows that show something
come out, each with the number a person sees beside it. Memory stays the same however long the
sheet is; `app.sheets.package` bounds how much there is to read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from xml.sax.xmlreader import AttributesImpl

from openpyxl.utils.cell import column_index_from_string  # type: ignore[import-untyped]

from app.sheets.cell_values import show_number
from app.sheets.cells import FORMULA, GridCell, GridRow, Moment, Unreadable
from app.sheets.limits import MAX_CELL_LENGTH, MAX_CELLS, MAX_COLUMNS, MAX_ROWS
from app.sheets.package import TOO_LARGE, PartHandler
from app.sheets.problems import SheetRefused

# A character that XML cannot hold is written as _x0007_ (ECMA-376, Part 1, 22.9.2.19).
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")


@dataclass(frozen=True, slots=True)
class SheetTexts:
    """What cells point into: shared texts, format codes by style, and where dates begin."""

    strings: Sequence[str]
    codes: Sequence[str]
    epoch: datetime


class TextBuffer:
    """Gathers the text inside `t` and `v`, leaves out phonetic guides, and stops one character
    after the longest text that is taken, so that the excess is seen but not kept.
    """

    def __init__(self) -> None:
        self._pieces: list[str] = []
        self._length = 0
        self._is_open = False
        self._in_guide = False

    def clear(self) -> None:
        """Forget what was gathered."""
        self._pieces.clear()
        self._length = 0

    def open(self, kind: str) -> None:
        """An element begins."""
        if kind == "rPh":
            self._in_guide = True
        elif kind in ("t", "v"):
            self._is_open = not self._in_guide

    def close(self, kind: str) -> None:
        """An element ends."""
        if kind == "rPh":
            self._in_guide = False
        self._is_open = False

    def add(self, content: str) -> None:
        """Characters between tags."""
        if self._is_open and self._length <= MAX_CELL_LENGTH:
            piece = content[: MAX_CELL_LENGTH + 1 - self._length]
            self._pieces.append(piece)
            self._length += len(piece)

    def text(self) -> str:
        """All that was gathered, with escaped characters put back."""
        text = "".join(self._pieces)
        return _ESCAPED.sub(lambda hit: chr(int(hit[1], 16)), text) if "_x" in text else text


class SheetHandler(PartHandler):
    """Turns the sheet's XML into rows; take them away between pieces."""

    def __init__(self, texts: SheetTexts) -> None:
        super().__init__()
        self._texts = texts
        self._rows: list[GridRow] = []
        self._number = 0
        self._cells: dict[int, GridCell] = {}
        self._column = 0
        self._kind = "n"
        self._style = 0
        self._has_formula = False
        self._buffer = TextBuffer()
        self._cells_read = 0

    def take_rows(self) -> list[GridRow]:
        """The rows finished since the last call."""
        rows, self._rows = self._rows, []
        return rows

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        if kind == "c":
            self._open_cell(attrs)
        elif kind == "row":
            self._open_row(attrs)
        elif kind == "f":
            self._has_formula = True
        else:
            self._buffer.open(kind)

    def finish(self, kind: str) -> None:
        self._buffer.close(kind)
        if kind == "c":
            self._close_cell()
        elif kind == "row":
            self._close_row()

    def characters(self, content: str) -> None:
        self._buffer.add(content)

    def _open_row(self, attrs: AttributesImpl) -> None:
        number = int(attrs["r"]) if "r" in attrs else self._number + 1
        if number <= self._number:
            raise ValueError("rows out of order")
        self._number, self._column = number, 0
        self._cells = {}

    def _open_cell(self, attrs: AttributesImpl) -> None:
        self._cells_read += 1
        if self._cells_read > MAX_CELLS:
            raise SheetRefused(TOO_LARGE)
        if "r" in attrs:
            self._column = column_index_from_string(attrs["r"].rstrip("0123456789"))
        else:
            self._column += 1
        self._kind, self._style = attrs.get("t", "n"), _index(attrs.get("s", "0"))
        self._has_formula = False
        self._buffer.clear()

    def _close_cell(self) -> None:
        cell = self._read_cell()
        if cell == "":
            return
        if self._column > MAX_COLUMNS:
            raise SheetRefused(
                f"This sheet has more than {MAX_COLUMNS} columns. Delete those that are not "
                "needed.",
                row=self._number,
            )
        self._cells[self._column] = cell

    def _read_cell(self) -> GridCell:
        raw = self._buffer.text()
        if self._has_formula:
            return FORMULA
        if self._kind in ("inlineStr", "str") or not raw:
            return raw
        if self._kind == "s":
            return self._texts.strings[_index(raw)]
        if self._kind == "n":
            return show_number(raw, self._code(), self._texts.epoch)
        return _read_rare_cell(self._kind, raw)

    def _code(self) -> str:
        codes = self._texts.codes
        return codes[self._style] if self._style < len(codes) else "General"

    def _close_row(self) -> None:
        if not self._cells:
            return
        width = max(self._cells)
        row = GridRow(self._number, tuple(self._cells.get(at, "") for at in range(1, width + 1)))
        self._cells = {}
        if row.is_blank():
            return
        if self._number > MAX_ROWS + 1:
            raise SheetRefused(
                f"This sheet has something below row {MAX_ROWS + 1:,}. Delete what is not part "
                "of the list, or split the list by event.",
                row=self._number,
            )
        self._rows.append(row)


def _index(text: str) -> int:
    """A place in a list; below nought Python would count from its end."""
    index = int(text)
    if index < 0:
        raise ValueError("a place before the first")
    return index


def _read_rare_cell(kind: str, raw: str) -> GridCell:
    if kind == "b":
        return "TRUE" if raw == "1" else "FALSE"
    if kind == "d":
        return Moment(raw.replace("T", " "))
    return Unreadable(f"This cell shows the error {raw[:20]}. Put in the plain value.")

"""Reading CSV: from bytes to rows of text.

The format is RFC 4180, read with the tolerance that real programs need: comma, semicolon or tab,
any kind of line end, UTF-8 with or without a byte order mark, UTF-16 with one, and windows-1252
for everything that is not UTF-8. What the columns mean is left to `app.sheets.table`.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator

from app.sheets.cells import Grid, GridRow
from app.sheets.limits import MAX_COLUMNS, MAX_ROWS
from app.sheets.problems import SheetRefused

DELIMITERS = (",", ";", "\t")
# The header stands at the top; so much of the text is enough to find it.
_HEADER_REACH = 64 * 1024
_BINARY_REACH = 1024
_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


def read_text_grid(content: bytes, is_known: Callable[[str], bool]) -> Grid:
    """The rows of a CSV file. `is_known` tells a column's name, which settles the delimiter."""
    text = decode(content)
    if "\x00" in text[:_BINARY_REACH]:
        raise SheetRefused(
            "This file is not a text table. Save the list as CSV or as XLSX and send that."
        )
    return Grid(_split_rows(text, choose_delimiter(text, is_known)), rows_may_be_short=False)


def decode(content: bytes) -> str:
    """The text of the file; a byte that stands for no letter comes out as U+FFFD."""
    for mark, encoding in _BYTE_ORDER_MARKS:
        if content.startswith(mark):
            return _decode_marked(content[len(mark) :], encoding)
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        # Five bytes have no letter in windows-1252; the cell that holds one is named later.
        return content.decode("cp1252", errors="replace")


def _decode_marked(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as error:
        raise SheetRefused(
            f"This file says that it is {encoding[:6].upper()}, but byte {error.start + 1:,} does "
            "not fit. It was damaged or joined from two files. Save it again as “CSV UTF-8”."
        ) from error


def choose_delimiter(text: str, is_known: Callable[[str], bool]) -> str:
    """The delimiter under which the header names most of our columns; else most columns."""

    def fit(delimiter: str) -> tuple[int, int]:
        names = _header_under(delimiter, text)
        return sum(is_known(name) for name in names), len(names)

    return max(DELIMITERS, key=fit)


def _header_under(delimiter: str, text: str) -> list[str]:
    top = io.StringIO(text.lstrip("\r\n")[:_HEADER_REACH], newline="")
    records = csv.reader(top, delimiter=delimiter)
    return next((record for record in records if any(map(str.strip, record))), [])


def _split_rows(text: str, delimiter: str) -> Iterator[GridRow]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 0
    try:
        for number, record in enumerate(reader, start=1):
            _check_size(number, record)
            yield GridRow(number, tuple(record))
    except csv.Error as error:
        raise SheetRefused(
            "From this row on the cells cannot be told apart: a quotation mark is opened and never "
            "closed, text follows a closed one, or a cell is far too long. Inside a cell, write "
            "each quotation mark twice.",
            row=number + 1,
        ) from error


def _check_size(number: int, record: list[str]) -> None:
    if number > MAX_ROWS + 1:
        raise SheetRefused(
            f"This file has more than {MAX_ROWS:,} rows. Split it by event and send the parts.",
            row=number,
        )
    if len(record) > MAX_COLUMNS and any(cell.strip() for cell in record[MAX_COLUMNS:]):
        raise SheetRefused(
            f"This row has more than {MAX_COLUMNS} columns. Delete those that are not needed.",
            row=number,
        )

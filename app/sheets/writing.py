"""Writing CSV that goes out: RFC 4180, and safe to open in a spreadsheet.

Text that people wrote never reaches a spreadsheet as a formula: a text that would begin one gets
an apostrophe in front (OWASP, CSV Injection; OWASP ASVS 5.0, 1.2.10). Numbers stay numbers, so
that -0.5 can be calculated with.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import TypeAlias

OutCell: TypeAlias = str | int | float | Decimal | None

# The full-width = + - @ are taken for the plain ones by some spreadsheets.
_FULL_WIDTH = ("\uff1d", "\uff0b", "\uff0d", "\uff20")
_STARTS_OF_FORMULAS = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00", *_FULL_WIDTH)


def write_csv(header: Sequence[str], rows: Iterable[Sequence[OutCell]]) -> str:
    """The table as CSV with CRLF line ends; None becomes an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([guard_text(name) for name in header])
    writer.writerows([_guard(cell) for cell in row] for row in rows)
    return out.getvalue()


def guard_text(text: str) -> str:
    """The text, with an apostrophe in front when a spreadsheet would calculate it. White space in
    front does not hide a formula, as some programs trim it.
    """
    starts = text.startswith(_STARTS_OF_FORMULAS)
    return f"'{text}" if starts or text.lstrip().startswith(_STARTS_OF_FORMULAS) else text


def _guard(cell: OutCell) -> OutCell:
    return guard_text(cell) if isinstance(cell, str) else cell

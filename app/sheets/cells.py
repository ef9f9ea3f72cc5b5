"""What a single cell may hold, and the form in which its text goes on.

Text is put into Unicode Normalization Form C (Unicode Standard Annex 15), trimmed, and runs of
white space become one space, so that the same team name is the same whichever program wrote it.
Formulas are refused: a start list has no need of them (OWASP, CSV Injection).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from app.sheets.limits import MAX_CELL_LENGTH
from app.visible import find_unseen, shows_something


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A cell whose content cannot be taken; `why` is a sentence with the way out."""

    why: str


@dataclass(frozen=True, slots=True)
class Moment:
    """A cell that the spreadsheet itself holds as a date, a time of day or a duration."""

    text: str


GridCell: TypeAlias = str | Moment | Unreadable


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row as it stands in the file; `number` is what a spreadsheet shows beside it."""

    number: int
    cells: tuple[GridCell, ...]

    def is_blank(self) -> bool:
        """Whether nothing can be seen in the row."""
        return all(isinstance(cell, str) and not cell.strip() for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Grid:
    """Rows as they come from the file. A spreadsheet leaves out empty cells at the end of a row
    (`rows_may_be_short`); in CSV a short row has lost something.
    """

    rows: Iterator[GridRow]
    rows_may_be_short: bool


# Tab and line breaks are white space and become a space; all other control characters are refused.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")
_LOST = re.compile("[\ufffd\ud800-\udfff]")
# A dash for "none" and a signed number ("+1", "-0.35") are what people write, not formulas.
_SIGNED_BUT_PLAIN = re.compile(r"-{1,3}|[+-][0-9][0-9 .,:]*")


def clean_text(raw: str) -> str | Unreadable:
    """The cell's text in its normal form, or why it cannot be taken."""
    if len(raw) > MAX_CELL_LENGTH:
        return Unreadable(
            f"This cell holds {len(raw):,} characters or more; at most {MAX_CELL_LENGTH} are "
            "taken. Shorten it."
        )
    if hurt := _find_bad_character(raw):
        return hurt
    text = " ".join(unicodedata.normalize("NFC", raw).split())
    return _find_hidden(text) or text


def _find_bad_character(raw: str) -> Unreadable | None:
    if found := _CONTROL.search(raw):
        return Unreadable(
            f"This cell holds a control character (U+{ord(found[0]):04X}), which nobody can see. "
            "Delete the cell and type it again."
        )
    if _LOST.search(raw):
        return Unreadable(
            "A letter of this cell was lost when the file was saved. Type it again and save the "
            "file as “CSV UTF-8” or as XLSX."
        )
    return None


def _find_hidden(text: str) -> Unreadable | None:
    """What would hide a part of the text, turn it, or make two names of one."""
    if unseen := find_unseen(text):
        return Unreadable(
            f"This cell holds a hidden character (U+{ord(unseen):04X}) that changes how the "
            "text is read. Delete the cell and type it again."
        )
    if text and not shows_something(text):
        return Unreadable(
            "Nothing of what this cell holds can be seen. Delete the cell and type it again."
        )
    return None


def is_formula(text: str) -> bool:
    """Whether a spreadsheet would calculate this text instead of showing it."""
    if text.startswith(("=", "@")):
        return True
    return text.startswith(("+", "-")) and not _SIGNED_BUT_PLAIN.fullmatch(text)


FORMULA = Unreadable(
    "This cell holds a formula, or a text that a spreadsheet takes for one (it begins with "
    "=, +, - or @). Put in the plain value."
)

MISREAD_DATE = Unreadable(
    "The spreadsheet has turned this cell into a date or time. Format the column as text and type "
    "the value again."
)

"""Which sheet is printed on, and how much of it may carry ink?

Sizes are those of ISO 216 (A4) and of ANSI/ASME Y14.1 size A (Letter). The margins keep well
clear of the 8 mm that common office printers leave blank (common practice). What is drawn on the
sheet is left to the forms.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

POINTS_PER_MM = 72 / 25.4
SIDE_MARGIN_MM = 15.0
TOP_MARGIN_MM = 13.0
FOOT_MARGIN_MM = 12.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """Size and margins of one sheet, in points."""

    width: float
    height: float
    side: float
    top: float
    foot: float

    @property
    def text_width(self) -> float:
        """The width that may carry text."""
        return self.width - 2 * self.side


class Paper(StrEnum):
    """The two sheets that meet offices have in their printers."""

    A4 = "A4"
    LETTER = "letter"

    @classmethod
    def _missing_(cls, value: object) -> Paper | None:
        return next((one for one in cls if one.lower() == str(value).lower()), None)

    @property
    def sheet(self) -> Sheet:
        """Size and margins in points."""
        width_mm, height_mm = MILLIMETRES[self]
        return Sheet(
            width=width_mm * POINTS_PER_MM,
            height=height_mm * POINTS_PER_MM,
            side=SIDE_MARGIN_MM * POINTS_PER_MM,
            top=TOP_MARGIN_MM * POINTS_PER_MM,
            foot=FOOT_MARGIN_MM * POINTS_PER_MM,
        )


MILLIMETRES = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}

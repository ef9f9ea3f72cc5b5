"""Which modules of a QR code are black, and how large must it be for a phone to read it?

ISO/IEC 18004; the reckoning is segno's. A code is drawn as one path (`painting.Modules`). Nothing
is kept here: what a code holds may be somebody's secret.
"""

from __future__ import annotations

import segno

from app.forms.paper import POINTS_PER_MM

SMALLEST_CODE_MM = 25.0
SMALLEST_MODULE_MM = 0.4  # phones read it from a copy, too (common practice)
QUIET_MODULES = 4  # ISO/IEC 18004, 5.3.8: so much around a code stays white
CORRECTION = "M"  # 15 % of the code may be dirty or torn
MASK = 3
"""The standard lets the encoder weigh eight masks, which takes 10 ms; every reader reads any, and
what is encoded here is mostly random digits, for which all are alike."""

Rows = tuple[tuple[bool, ...], ...]


def make_modules(text: str) -> Rows:
    """The modules of a text's code, row by row; True is black."""
    code = segno.make_qr(
        text.encode("utf-8"), error=CORRECTION, mask=MASK, mode="byte", boost_error=False
    )
    return tuple(tuple(map(bool, row)) for row in code.matrix)


def measure(rows: Rows) -> tuple[float, float]:
    """The side of a code and the white that it needs around it, in points."""
    module = max(SMALLEST_MODULE_MM, SMALLEST_CODE_MM / len(rows)) * POINTS_PER_MM
    return module * len(rows), module * QUIET_MODULES

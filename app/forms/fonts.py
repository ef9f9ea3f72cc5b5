"""Which typeface has the letters of this text, and what does a glyph of it measure?

The typefaces are the Noto families that come with the package `manimgx_fonts` (SIL Open Font
License 1.1); no font of the machine is used, so a form looks the same everywhere. Coverage is read
from each font's own character map. All are variable fonts: bold is their weight axis at 700.
Breaking and ordering text is left to `script_text`, embedding to `embedding`.
"""

import threading
from dataclasses import dataclass, field
from enum import IntEnum
from functools import lru_cache
from importlib import resources

import uharfbuzz as hb  # type: ignore[import-untyped]

WEIGHT_AXIS = "wght"
UNITS = 1000
"""Measures of glyphs are given in thousandths of the type size, as in a PDF."""

# The first family that has a letter prints it, so the everyday one leads and pictures come last.
FAMILIES = (
    "NotoSans",
    "NotoSansArabic",
    "NotoSansArmenian",
    "NotoSansBengali",
    "NotoSansDevanagari",
    "NotoSansEthiopic",
    "NotoSansGeorgian",
    "NotoSansGujarati",
    "NotoSansGurmukhi",
    "NotoSansHebrew",
    "NotoSansKannada",
    "NotoSansKhmer",
    "NotoSansLao",
    "NotoSansMalayalam",
    "NotoSansMyanmar",
    "NotoSansOriya",
    "NotoSansSinhala",
    "NotoSansTamil",
    "NotoSansTelugu",
    "NotoSansThai",
    "NotoSansSymbols",
    "NotoEmoji",
)


class Weight(IntEnum):
    """Positions on the weight axis of the typefaces."""

    REGULAR = 400
    BOLD = 700


@dataclass(frozen=True, slots=True)
class Ink:
    """How far a glyph reaches above and below the line it stands on, in thousandths."""

    top: float
    bottom: float


@dataclass(frozen=True, slots=True, eq=False)
class Typeface:
    """One family: its characters, and its outlines at each weight."""

    family: str
    face: hb.Face = field(repr=False)
    characters: frozenset[int] = field(repr=False)

    @property
    def scale(self) -> float:
        """Thousandths of the type size in one unit of the font."""
        return float(UNITS / self.face.upem)

    def covers(self, characters: str) -> bool:
        """Whether the font itself has a glyph for every one of these characters."""
        return all(ord(character) in self.characters for character in characters)


@lru_cache(maxsize=len(FAMILIES))
def _open_typeface(family: str) -> Typeface:
    font_file = resources.files("manimgx_fonts") / f"{family}[{WEIGHT_AXIS}].ttf"
    face = hb.Face(hb.Blob(font_file.read_bytes()))
    return Typeface(family, face, frozenset(face.unicodes))


_opening = threading.Lock()
_opened: list[Typeface] = []


def open_typefaces() -> tuple[Typeface, ...]:
    """Every typeface in order of preference; opened once, whichever thread asks first."""
    with _opening:
        if not _opened:
            _opened.extend(_open_typeface(family) for family in FAMILIES)
        return tuple(_opened)


def everyday_typeface() -> Typeface:
    """The typeface of the form's own words; its glyph 0 is the box for a missing letter."""
    return open_typefaces()[0]


@lru_cache(maxsize=2 * len(FAMILIES))
def shaping_font(typeface: Typeface, weight: Weight) -> hb.Font:
    """The typeface at a weight, as the shaper wants it."""
    font = hb.Font(typeface.face)
    font.set_variations({WEIGHT_AXIS: float(weight)})
    return font


@lru_cache(maxsize=20_000)
def glyph_width(typeface: Typeface, weight: Weight, glyph: int) -> float:
    """The advance the font itself gives the glyph, in thousandths."""
    return float(shaping_font(typeface, weight).get_glyph_h_advance(glyph)) * typeface.scale


@lru_cache(maxsize=20_000)
def glyph_ink(typeface: Typeface, weight: Weight, glyph: int) -> Ink:
    """How far the glyph's ink reaches above and below the baseline."""
    extents = shaping_font(typeface, weight).get_glyph_extents(glyph)
    if extents is None:
        return Ink(0.0, 0.0)
    top = float(extents.y_bearing) * typeface.scale
    return Ink(top, -(top + float(extents.height) * typeface.scale))

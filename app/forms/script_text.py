"""How is a stretch of text written with the letters of the typefaces, and what has no letter?

Text is cut into runs of one typeface and one direction; HarfBuzz shapes each run (joins Arabic,
orders Devanagari, places marks). A character that no typeface has is drawn as the box that is
glyph 0, and handed back so that the form can name it. Lines are left to `typesetting`.
"""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import uharfbuzz as hb  # type: ignore[import-untyped]

from app.forms.fonts import (
    Typeface,
    Weight,
    everyday_typeface,
    glyph_ink,
    glyph_width,
    open_typefaces,
    shaping_font,
)

# More marks on one letter would climb out of the line and off the paper (our own limit).
MOST_MARKS_ON_A_LETTER = 8

# Unicode's Default_Ignorable_Code_Point, without the switches of direction: no ink of their own.
INVISIBLE = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u2060-\u2065"
    "\u206a-\u206f\u3164\ufe00-\ufe0f\ufeff\uffa0\U000e0000-\U000e0fff]"
)
CONTROLS = ("Cc", "Cs")
JOINER = "\u200d"
SKIN_TONES = re.compile("[\U0001f3fb-\U0001f3ff]")


@dataclass(frozen=True, slots=True)
class Glyph:
    """One outline and where it stands; measures in thousandths of the type size."""

    number: int
    advance: float
    shift: float
    rise: float


@dataclass(frozen=True, slots=True, eq=False)
class Cluster:
    """The smallest piece of text that has glyphs of its own; a line may break beside it."""

    text: str
    glyphs: tuple[Glyph, ...]
    width: float
    top: float
    bottom: float


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Clusters of one typeface, weight and direction, in the order in which they are read."""

    typeface: Typeface
    weight: Weight
    level: int
    clusters: tuple[Cluster, ...]
    width: float
    top: float
    bottom: float

    def part(self, start: int, end: int) -> "Run":
        """Some of the clusters as a run; letters keep the forms they had in the whole."""
        return make_run(self.typeface, self.weight, self.level, self.clusters[start:end])


def make_run(typeface: Typeface, weight: Weight, level: int, clusters: tuple[Cluster, ...]) -> Run:
    """The clusters as a run, measured as a whole."""
    return Run(
        typeface,
        weight,
        level,
        clusters,
        width=sum(cluster.width for cluster in clusters),
        top=max((cluster.top for cluster in clusters), default=0.0),
        bottom=max((cluster.bottom for cluster in clusters), default=0.0),
    )


@dataclass(frozen=True, slots=True)
class Piece:
    """Characters that go to the shaper together; no typeface means that they have no letters."""

    text: str
    typeface: Typeface | None


@lru_cache(maxsize=4096)
def write_plain_text(text: str, level: int, weight: Weight) -> Run:
    """The run of a text that the everyday typeface is known to have."""
    clusters = shape(text, everyday_typeface(), weight, level % 2 == 1)
    return make_run(everyday_typeface(), weight, level, clusters)


def write_text(text: str, levels: list[int], weight: Weight) -> tuple[list[Run], list[str]]:
    """The runs of a text, and the characters in it that cannot be printed."""
    if text.isascii() and text.isprintable() and levels[0] == levels[-1]:
        return [write_plain_text(text, levels[0], weight)], []  # nearly every word
    runs: list[Run] = []
    missing: list[str] = []
    start = 0
    for piece in _choose_pieces(text, levels):
        level = levels[start]
        start += len(piece.text)
        if piece.typeface is None:
            missing += piece.text
            runs.append(make_run(everyday_typeface(), weight, level, _boxes(piece.text, weight)))
        else:
            clusters = shape(piece.text, piece.typeface, weight, level % 2 == 1)
            missing += _boxed(clusters)
            runs.append(make_run(piece.typeface, weight, level, clusters))
    return runs, missing


def _boxed(clusters: tuple[Cluster, ...]) -> str:
    # The shaper has the last word: whatever it gave glyph 0 is a box on the paper.
    return "".join(
        cluster.text for cluster in clusters if any(glyph.number == 0 for glyph in cluster.glyphs)
    )


def _choose_pieces(text: str, levels: list[int]) -> Iterator[Piece]:
    before: Typeface | None = None
    start = end = 0
    for letter in split_letters(text):
        for part, typeface in _print_letter(letter, before):
            joins = start < end and typeface is before and levels[start] == levels[end]
            if start < end and not (joins and not _is_mark(part[0])):
                yield Piece(text[start:end], before)
                start = end
            before = typeface
            end += len(part)
    if start < end:
        yield Piece(text[start:end], before)


def split_letters(text: str) -> Iterator[str]:
    """The text in letters with the marks that belong on them."""
    start = marks = 0
    for place in range(1, len(text)):
        belongs = _is_mark(text[place]) or text[place - 1] == JOINER
        marks = marks + 1 if belongs else 0
        if not belongs or marks > MOST_MARKS_ON_A_LETTER:
            yield text[start:place]
            start, marks = place, 0
    if text:
        yield text[start:]


def _is_mark(character: str) -> bool:
    return (
        unicodedata.category(character).startswith("M")
        or INVISIBLE.match(character) is not None
        or SKIN_TONES.match(character) is not None
    )


def _print_letter(letter: str, before: Typeface | None) -> list[tuple[str, Typeface | None]]:
    typeface = choose_typeface(letter, before)
    if typeface is not None or len(letter) == 1:
        return [(letter, typeface)]
    return [(character, choose_typeface(character, before)) for character in letter]


@lru_cache(maxsize=20_000)
def choose_typeface(letter: str, before: Typeface | None) -> Typeface | None:
    """The typeface for one letter with its marks; signs and digits stay with what they follow."""
    kind = unicodedata.category(letter[0])
    if kind in CONTROLS:
        return None  # some fonts map these too, to nothing
    is_sign = kind[0] not in "LM"
    if is_sign and before is not None and _can_print(before, letter):
        return before
    return next((face for face in open_typefaces() if _can_print(face, letter)), None)


def _can_print(typeface: Typeface, letter: str) -> bool:
    visible = INVISIBLE.sub("", letter)
    # HarfBuzz itself composes and decomposes, so either form in the font will do.
    forms = (visible, unicodedata.normalize("NFC", visible), unicodedata.normalize("NFD", visible))
    return any(typeface.covers(form) for form in forms)


@lru_cache(maxsize=4096)
def shape(text: str, typeface: Typeface, weight: Weight, leftwards: bool) -> tuple[Cluster, ...]:
    """The text's clusters in the order in which they are read."""
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if leftwards else "ltr"
    buffer.language = "en"  # else HarfBuzz asks the machine, and the same form differs elsewhere
    buffer.flags = hb.BufferFlags.BOT  # a mark without a letter gets the dotted circle
    hb.shape(shaping_font(typeface, weight), buffer)
    glyphs: dict[int, list[Glyph]] = {}
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        glyphs.setdefault(info.cluster, []).append(_scale(typeface, info.codepoint, position))
    starts = sorted(glyphs)
    ends = [*starts[1:], len(text)]
    return tuple(
        _measure(text[start:end], tuple(glyphs[start]), typeface, weight)
        for start, end in zip(starts, ends, strict=True)
    )


def _scale(typeface: Typeface, number: int, position: hb.GlyphPosition) -> Glyph:
    scale = typeface.scale
    return Glyph(
        number, position.x_advance * scale, position.x_offset * scale, position.y_offset * scale
    )


def _measure(text: str, glyphs: tuple[Glyph, ...], typeface: Typeface, weight: Weight) -> Cluster:
    inks = [(glyph, glyph_ink(typeface, weight, glyph.number)) for glyph in glyphs]
    return Cluster(
        text,
        glyphs,
        width=sum(glyph.advance for glyph in glyphs),
        top=max(ink.top + glyph.rise for glyph, ink in inks),
        bottom=max(ink.bottom - glyph.rise for glyph, ink in inks),
    )


def _boxes(text: str, weight: Weight) -> tuple[Cluster, ...]:
    box = Glyph(0, glyph_width(everyday_typeface(), weight, 0), 0.0, 0.0)
    return tuple(_measure(character, (box,), everyday_typeface(), weight) for character in text)

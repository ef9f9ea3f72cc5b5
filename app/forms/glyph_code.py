"""How are glyphs written in the code of a page, so that the text behind them can be read?

Showing text is ISO 32000-1, 9.4. A glyph that stands for one text says so in its font's map;
everything else, such as a letter with its marks, is a span with its ActualText (14.9.4), so that
search, copying and screen readers get the text that was written.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from unicodedata import category

from app.forms.embedding import EmbeddedFont, to_hex
from app.forms.fonts import UNITS, Typeface, Weight, glyph_width, shaping_font
from app.forms.script_text import CONTROLS, Cluster, Glyph, Run

UNSEEN = 0.005  # thousandths of the size


def order_clusters(run: Run) -> Sequence[Cluster]:
    """The clusters of a run from left to right."""
    return run.clusters[::-1] if run.level % 2 else run.clusters


def show_glyphs(clusters: Iterable[Cluster], font: EmbeddedFont, size: float) -> Iterator[str]:
    """The code that shows the clusters one after another from where the pen stands."""
    plain: list[str] = []
    for cluster in clusters:
        code = _say_plainly(cluster, font.typeface, font.weight)
        if code and font.reads_back(cluster.glyphs[0].number, cluster.text):
            plain.append(code)
        else:
            yield from _array(plain)
            plain = []
            yield from _show_with_text(cluster, font, size)
    yield from _array(plain)


def _show_with_text(cluster: Cluster, font: EmbeddedFont, size: float) -> Iterator[str]:
    yield f"/Span <</ActualText <FEFF{to_hex(_readable(cluster.text))}>>> BDC"
    wanders = len(cluster.glyphs) > 1 or cluster.glyphs[0].rise != 0.0
    if wanders:
        yield from touch_baseline(font, forwards=True)
    for glyph in cluster.glyphs:
        font.use(glyph.number)
        yield from _raise(glyph, font, size)
    if wanders:
        yield from touch_baseline(font, forwards=False)
    yield "EMC"


def touch_baseline(font: EmbeddedFont, *, forwards: bool) -> Iterator[str]:
    """A space that leaves the pen where it was: stepped back over after it, or before it."""
    # Readers take a span that begins or ends on a raised or shifted mark for a word of its own;
    # a space that the pen steps back over begins and ends it on the line, where the cluster does.
    space = shaping_font(font.typeface, font.weight).get_nominal_glyph(ord(" "))
    font.reads_back(space, " ")
    back = f"{glyph_width(font.typeface, font.weight, space):.2f}"
    code = f"<{space:04X}>"
    yield from _array([code, back] if forwards else [back, code])


@lru_cache(maxsize=20_000)
def _say_plainly(cluster: Cluster, typeface: Typeface, weight: Weight) -> str:
    """The code for a cluster of one ordinary glyph; nothing for any other."""
    glyph = cluster.glyphs[0]
    if len(cluster.glyphs) > 1 or glyph.rise or glyph.number == 0:
        return ""
    return " ".join(_place(glyph, typeface, weight))


def _readable(text: str) -> str:
    # A control character inside a text layer would upset programs that read it.
    return "".join("\ufffd" if category(character) in CONTROLS else character for character in text)


def _raise(glyph: Glyph, font: EmbeddedFont, size: float) -> Iterator[str]:
    if glyph.rise:
        yield f"{glyph.rise * size / UNITS:.3f} Ts"
    yield from _array(_place(glyph, font.typeface, font.weight))
    if glyph.rise:
        yield "0 Ts"


def _place(glyph: Glyph, typeface: Typeface, weight: Weight) -> list[str]:
    nominal = glyph_width(typeface, weight, glyph.number)
    after = nominal + glyph.shift - glyph.advance
    before = [f"{-glyph.shift:.2f}"] if glyph.shift else []
    return [*before, f"<{glyph.number:04X}>", *([f"{after:.2f}"] if abs(after) > UNSEEN else [])]


def _array(parts: Sequence[str]) -> Iterator[str]:
    if parts:
        yield f"[{' '.join(parts).replace('> <', '')}] TJ"

"""How do the glyphs that were used get into the file, so that every reader can show and read them?

Each typeface and weight becomes one composite font (ISO 32000-1, 9.7: Type0 over CIDFontType2,
Identity-H), cut down by HarfBuzz to the glyphs in use. Every glyph is mapped back to its text
(9.10.3, ToUnicode). Where that map cannot say it, the painter adds ActualText (14.9.4).
The objects belong to one document, so documents can be drawn in several threads at once.
"""

import threading
from dataclasses import dataclass, field
from types import SimpleNamespace

import uharfbuzz as hb  # type: ignore[import-untyped]
from reportlab import rl_config  # type: ignore[import-untyped]
from reportlab.pdfbase import pdfdoc, pdfmetrics  # type: ignore[import-untyped]

from app.forms.fonts import WEIGHT_AXIS, Typeface, Weight, glyph_width, shaping_font

NO_FONT = "NoFontUntilGlyphsAreUsed"
SYMBOLIC = 4  # ISO 32000-1, table 123: characters outside the standard Latin set
STEM_WIDTH = {Weight.REGULAR: 80, Weight.BOLD: 140}
UNUSED_TABLES = ("GDEF", "GPOS", "GSUB", "OS/2", "STAT", "cmap", "gasp", "name", "post")


_registering = threading.Lock()


def prepare_reportlab() -> None:
    """Give ReportLab a font that it never embeds, where it would name its Helvetica; only once."""
    with _registering:
        rl_config.useA85 = 0  # pages as bytes: a quarter smaller, and sooner done
        if NO_FONT not in pdfmetrics.getRegisteredFontNames():
            face = SimpleNamespace(name=NO_FONT)
            font = SimpleNamespace(fontName=NO_FONT, face=face, _dynamicFont=1, _multiByte=1)
            pdfmetrics.registerFont(font)


@dataclass(slots=True)
class EmbeddedFont:
    """One typeface at one weight inside one document."""

    typeface: Typeface
    weight: Weight
    name: str
    texts: dict[int, str] = field(default_factory=dict)

    def reads_back(self, glyph: int, text: str) -> bool:
        """Use a glyph for a text; false if the document maps that glyph to another text."""
        return self.texts.setdefault(glyph, text) == text

    def use(self, glyph: int) -> None:
        """Use a glyph whose text is given in another way."""
        self.texts.setdefault(glyph, "")

    def add_objects(self, document: pdfdoc.PDFDocument) -> None:
        """Put the font's objects into the document."""
        fonts = document.idToObject["BasicFonts"].dict
        fonts[self.name] = document.Reference(self._composite(document), self.name)

    @property
    def _postscript_name(self) -> str:
        tag = "".join(chr(ord("A") + int(digit)) for digit in f"{int(self.name[1:]):06d}")
        return f"{tag}+{self.typeface.family}-{self.weight.name.title()}"

    def _composite(self, document: pdfdoc.PDFDocument) -> pdfdoc.PDFDictionary:
        descendant = document.Reference(self._cid_font(document), f"{self.name}-cid")
        return pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("Font"),
                "Subtype": pdfdoc.PDFName("Type0"),
                "BaseFont": pdfdoc.PDFName(self._postscript_name),
                "Encoding": pdfdoc.PDFName("Identity-H"),
                "DescendantFonts": pdfdoc.PDFArray([descendant]),
                "ToUnicode": _stream(document, self._text_map(), f"{self.name}-text"),
            }
        )

    def _cid_font(self, document: pdfdoc.PDFDocument) -> pdfdoc.PDFDictionary:
        system = {"Registry": "(Adobe)", "Ordering": "(Identity)", "Supplement": 0}
        widths = " ".join(
            f"{glyph} [{glyph_width(self.typeface, self.weight, glyph):.2f}]"
            for glyph in sorted(self.texts)
        )
        return pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("Font"),
                "Subtype": pdfdoc.PDFName("CIDFontType2"),
                "BaseFont": pdfdoc.PDFName(self._postscript_name),
                "CIDSystemInfo": pdfdoc.PDFDictionary(system),
                "CIDToGIDMap": pdfdoc.PDFName("Identity"),
                "DW": 0,
                "W": f"[{widths}]",
                "FontDescriptor": document.Reference(
                    self._descriptor(document), f"{self.name}-descriptor"
                ),
            }
        )

    def _descriptor(self, document: pdfdoc.PDFDocument) -> pdfdoc.PDFDictionary:
        extents = shaping_font(self.typeface, self.weight).get_font_extents("ltr")
        ascent = round(extents.ascender * self.typeface.scale)
        descent = round(extents.descender * self.typeface.scale)
        outlines = _cut_outlines(self.typeface, self.weight, sorted(self.texts))
        return pdfdoc.PDFDictionary(
            {
                "Type": pdfdoc.PDFName("FontDescriptor"),
                "FontName": pdfdoc.PDFName(self._postscript_name),
                "Flags": SYMBOLIC,
                "FontBBox": pdfdoc.PDFArray([-1000, descent, 3000, ascent]),
                "ItalicAngle": 0,
                "Ascent": ascent,
                "Descent": descent,
                "CapHeight": ascent,
                "StemV": STEM_WIDTH[self.weight],
                "FontFile2": _stream(document, outlines, f"{self.name}-outlines"),
            }
        )

    def _text_map(self) -> bytes:
        pairs = [f"<{glyph:04X}> <{to_hex(text)}>" for glyph, text in self._texts_that_say_it()]
        blocks = [pairs[start : start + 100] for start in range(0, len(pairs), 100)]
        lines = [MAP_HEAD]
        for block in blocks:
            lines += [f"{len(block)} beginbfchar", *block, "endbfchar"]
        return "\n".join([*lines, MAP_END]).encode("ascii")

    def _texts_that_say_it(self) -> list[tuple[int, str]]:
        return sorted((glyph, text) for glyph, text in self.texts.items() if text)


def embed_font(document: pdfdoc.PDFDocument, typeface: Typeface, weight: Weight) -> EmbeddedFont:
    """A font of the document, whose objects are made when ReportLab writes the document."""
    font = EmbeddedFont(typeface, weight, f"Z{len(document.delayedFonts) + 1}")
    document.delayedFonts.append(SimpleNamespace(addObjects=font.add_objects))
    return font


def to_hex(text: str) -> str:
    """Text as UTF-16BE in hexadecimal; half of a surrogate pair becomes U+FFFD."""
    whole = text.encode("utf-16-be", "surrogatepass").decode("utf-16-be", "replace")
    return whole.encode("utf-16-be").hex().upper()


def _cut_outlines(typeface: Typeface, weight: Weight, glyphs: list[int]) -> bytes:
    wanted = hb.SubsetInput()
    wanted.glyph_set.update(glyphs)
    wanted.drop_table_tag_set.update(int.from_bytes(tag.encode(), "big") for tag in UNUSED_TABLES)
    flags = hb.SubsetFlags
    wanted.flags = flags.RETAIN_GIDS | flags.NO_HINTING | flags.NOTDEF_OUTLINE
    wanted.pin_all_axes_to_default(typeface.face)
    wanted.pin_axis_location(typeface.face, WEIGHT_AXIS, float(weight))
    return bytes(hb.subset(typeface.face, wanted).blob.data)


def _stream(document: pdfdoc.PDFDocument, content: bytes, name: str) -> pdfdoc.PDFObjectReference:
    stream = pdfdoc.PDFStream(content=content, filters=[pdfdoc.PDFZCompress])
    stream.dictionary["Length1"] = len(content)  # asked for in outlines, ignored in text maps
    return document.Reference(stream, name)


MAP_HEAD = """/CIDInit /ProcSet findresource begin
12 dict begin
begincmap
/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def
/CMapName /Adobe-Identity-UCS def
/CMapType 2 def
1 begincodespacerange
<0000> <FFFF>
endcodespacerange"""

MAP_END = """endcmap
CMapName currentdict /CMap defineresource pop
end
end"""

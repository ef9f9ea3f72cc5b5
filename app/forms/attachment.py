"""A file within a sheet, which any reader of PDFs takes out again (ISO 32000-1, 7.11.4).

It lies in it as it is, not packed: whoever has but the sheet's bytes finds it in them.
"""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.pdfbase import pdfdoc  # type: ignore[import-untyped]


@dataclass(frozen=True, slots=True)
class Attachment:
    """A text that goes along as a file; name and what it is in plain letters (ASCII)."""

    name: str
    about: str
    text: str


def attach(document: pdfdoc.PDFDocument, attached: Attachment) -> None:
    """Put the file into the document, as the only one."""
    content = attached.text.encode()
    stream = pdfdoc.PDFStream(content=content, filters=[])
    stream.dictionary["Type"] = pdfdoc.PDFName("EmbeddedFile")
    stream.dictionary["Params"] = pdfdoc.PDFDictionary({"Size": len(content)})
    name = pdfdoc.PDFString(attached.name)
    file = pdfdoc.PDFDictionary(
        {
            "Type": pdfdoc.PDFName("Filespec"),
            "F": name,
            "UF": name,
            "Desc": pdfdoc.PDFString(attached.about),
            "EF": pdfdoc.PDFDictionary({"F": document.Reference(stream)}),
        }
    )
    names = pdfdoc.PDFArray([name, document.Reference(file)])
    files = pdfdoc.PDFDictionary({"Names": names})
    document.Catalog.Names = pdfdoc.PDFDictionary({"EmbeddedFiles": files})

"""Unpacking an XLSX file without trusting it.

An XLSX file is a zip archive of XML parts (ECMA-376, Part 2). The archive's directory is checked
before anything is unpacked, the limits are enforced again while reading, as a directory can lie,
and XML comes through a parser that refuses document types and entities. Parts are read as a
stream, so a hostile file costs no memory. What the parts mean is left to `app.sheets.workbook`.
"""

from __future__ import annotations

import io
import posixpath
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO
from xml.sax import SAXException
from xml.sax.handler import ContentHandler
from xml.sax.xmlreader import AttributesImpl, IncrementalParser

from defusedxml.common import DefusedXmlException  # type: ignore[import-untyped]
from defusedxml.expatreader import create_parser  # type: ignore[import-untyped]

from app.sheets.limits import (
    MAX_DEPTH,
    MAX_PARTS,
    MAX_RATIO,
    MAX_TAG_BYTES,
    MAX_TAGS,
    MAX_UNPACKED_BYTES,
    RATIO_FREE_BYTES,
)
from app.sheets.problems import SheetRefused

_CHUNK = 64 * 1024
_DIRECTORY_ENTRY = b"PK\x01\x02"
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    SAXException,
    # Covers broken numbers, encodings that do not fit, and offsets outside the file.
    ValueError,
    LookupError,
    OverflowError,
    # Raised by zipfile for a way of packing that it does not know.
    NotImplementedError,
)

TOO_LARGE = (
    "This workbook unpacks to more than a start list can need. Copy the list into a new workbook, "
    "or save it as CSV, and send that."
)
_ENDLESS_TAG = (
    "This workbook has a tag or a text that is longer than any spreadsheet program writes. Save it "
    "again as XLSX or CSV, and send that."
)
_PROTECTED = "This workbook is protected with a password. Save it without one and send that."


class PartHandler(ContentHandler):
    """Takes the elements of a part by their names without namespace prefix, to a sane depth."""

    def __init__(self) -> None:
        super().__init__()
        self._depth = 0

    def startElement(self, name: str, attrs: AttributesImpl) -> None:  # noqa: N802 - SAX's name
        self._depth += 1
        if self._depth > MAX_DEPTH:
            raise ValueError("elements within elements without end")
        self.begin(local_name(name), attrs)

    def endElement(self, name: str) -> None:  # noqa: N802 - SAX's name
        self._depth -= 1
        self.finish(local_name(name))

    def begin(self, kind: str, attrs: AttributesImpl) -> None:
        """An element begins."""

    def finish(self, kind: str) -> None:
        """An element ends."""


def local_name(name: str) -> str:
    """The name without its namespace prefix."""
    return name.rpartition(":")[2]


class Package:
    """The parts of one XLSX file. All reading together may unpack at most 64 MiB."""

    def __init__(self, content: bytes) -> None:
        self._unpacked = 0
        self._tags = 0
        if content.count(_DIRECTORY_ENTRY) > MAX_PARTS:
            raise SheetRefused(TOO_LARGE)
        with damage_refused():
            self._archive = zipfile.ZipFile(io.BytesIO(content))
        self._check_directory()

    def _check_directory(self) -> None:
        parts = self._archive.infolist()
        if len({part.filename.lower() for part in parts}) < len(parts):
            raise SheetRefused("This workbook holds a part twice. Save it again as XLSX.")
        if any(part.flag_bits & 0x1 for part in parts):
            raise SheetRefused(_PROTECTED)
        if any(part.compress_type not in _METHODS for part in parts):
            raise SheetRefused("This workbook is packed in an unusual way. Save it again as XLSX.")
        if sum(part.file_size for part in parts) > MAX_UNPACKED_BYTES or any(map(_swells, parts)):
            raise SheetRefused(TOO_LARGE)

    def has(self, part: str) -> bool:
        """Whether the archive names this part."""
        return part in self._archive.NameToInfo

    def names(self) -> list[str]:
        """The names of all parts."""
        return self._archive.namelist()

    def read_xml(self, part: str, handler: PartHandler) -> None:
        """Give a whole part to the handler."""
        for _ in self.stream_xml(part, handler):
            pass

    def stream_xml(self, part: str, handler: PartHandler) -> Iterator[None]:
        """Give a part to the handler piece by piece, and pause after each."""
        if not self.has(part):
            raise SheetRefused(f"This workbook lacks its part {part}. Save it again as XLSX.")
        parser: IncrementalParser = create_parser(forbid_dtd=True)
        parser.setContentHandler(handler)
        with damage_refused():
            source = self._archive.open(part)
        since_tag = 0
        while chunk := self._next_chunk(source):
            since_tag = _bytes_since_tag(chunk, since_tag)
            if since_tag > MAX_TAG_BYTES:
                raise SheetRefused(_ENDLESS_TAG)
            with damage_refused():
                parser.feed(chunk)
            yield
        with damage_refused():
            parser.close()
        yield

    def _next_chunk(self, source: IO[bytes]) -> bytes:
        with damage_refused():
            chunk = source.read(_CHUNK)
        self._unpacked += len(chunk)
        self._tags += chunk.count(b"<") + chunk.count(b"/>")
        if self._unpacked > MAX_UNPACKED_BYTES or self._tags > MAX_TAGS:
            raise SheetRefused(TOO_LARGE)
        return chunk


def _bytes_since_tag(chunk: bytes, before: int) -> int:
    """How long ago a tag began. No tag holds a further “<”, not even in a value (XML 1.0, 3.1).

    The parser takes a tag with all its attributes apart in one go, however many they are.
    """
    began = chunk.rfind(b"<")
    return before + len(chunk) if began < 0 else len(chunk) - began


def _swells(part: zipfile.ZipInfo) -> bool:
    return part.file_size > max(RATIO_FREE_BYTES, MAX_RATIO * part.compress_size)


def resolve_part(base: str, target: str) -> str:
    """The name in the archive of a part that `base` points to (ECMA-376, Part 2, 9.3)."""
    return posixpath.normpath(posixpath.join("/", posixpath.dirname(base), target)).lstrip("/")


@contextmanager
def damage_refused() -> Iterator[None]:
    """Whatever a broken archive or part sets off becomes one sentence for people."""
    try:
        yield
    except DefusedXmlException as error:
        raise SheetRefused(
            "This workbook defines its own entities or a document type, which no spreadsheet "
            "program does. Save it again as XLSX from a spreadsheet program."
        ) from error
    except _DAMAGE as error:
        raise SheetRefused(
            "This workbook is damaged and cannot be read. Open it in a spreadsheet program, save "
            "it again as XLSX or CSV, and send that."
        ) from error

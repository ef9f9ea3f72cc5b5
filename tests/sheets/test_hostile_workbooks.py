"""A workbook made to do harm is refused at once, with a clear reason and at little cost."""

from __future__ import annotations

import io
import os
import struct
import time
import tracemalloc
import zipfile

import openpyxl  # type: ignore[import-untyped]
import pytest

from app.sheets.limits import (
    MAX_CELLS,
    MAX_DEPTH,
    MAX_PARTS,
    MAX_TAGS,
    MAX_UNPACKED_BYTES,
    RATIO_FREE_BYTES,
)
from app.sheets.start_list import read_start_list
from app.sheets.table import SheetRefused
from tests.sheets.builders import a_row, as_xlsx, inline, pack, parts_of_workbook, save

MEBIBYTE = 1024 * 1024
SHEET = "xl/worksheets/one.xml"


def with_part(name: str, content: str | bytes, sheet_data: str = "") -> dict[str, str | bytes]:
    parts: dict[str, str | bytes] = dict(parts_of_workbook(sheet_data).items())
    return parts | {name: content}


def with_sheet(*pieces: str) -> bytes:
    return pack(parts_of_workbook("".join(pieces)))


def noise(length: int) -> str:
    """Text that hardly packs, so that only the limit under test can refuse."""
    return os.urandom(length // 2).hex()


def refuse(content: bytes) -> str:
    with pytest.raises(SheetRefused) as refusal:
        read_start_list(content)
    assert [problem.row for problem in refusal.value.problems]
    return str(refusal.value)


def lie_about_size(content: bytes, part: str, size: int) -> bytes:
    """Write another unpacked size for a part into the archive's directory and local header."""
    name = part.encode()
    local = content.index(name) - 30
    central = content.rindex(name) - 46
    told = struct.pack("<I", size)
    content = content[: local + 22] + told + content[local + 26 :]
    return content[: central + 24] + told + content[central + 28 :]


@pytest.mark.parametrize("part", [SHEET, "xl/strings.xml", "xl/media/picture.png"])
def test_200_megabytes_of_zeros_are_refused_within_a_second_and_in_little_memory(
    part: str,
) -> None:
    content = pack(with_part(part, bytes(200 * MEBIBYTE)))
    assert len(content) < MEBIBYTE
    tracemalloc.start()
    began = time.perf_counter()
    reason = refuse(content)
    took = time.perf_counter() - began
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "unpacks to more" in reason
    assert took < 1
    assert peak < 4 * MEBIBYTE


def test_a_directory_that_lies_about_a_size_gains_nothing() -> None:
    content = lie_about_size(pack(with_part(SHEET, bytes(20 * MEBIBYTE))), SHEET, 4096)
    assert zipfile.ZipFile(io.BytesIO(content)).getinfo(SHEET).file_size == 4096
    tracemalloc.start()
    reason = refuse(content)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "damaged" in reason
    assert peak < 4 * MEBIBYTE


def test_parts_that_are_small_alone_but_large_together_are_refused() -> None:
    parts = with_part("x", "")
    count = MAX_UNPACKED_BYTES // RATIO_FREE_BYTES
    parts |= {f"xl/media/{at}": bytes(RATIO_FREE_BYTES) for at in range(count)}
    assert "unpacks to more" in refuse(pack(parts))


def test_an_archive_of_very_many_parts_is_refused() -> None:
    parts = with_part("x", "")
    parts |= {f"xl/media/{at}": b"" for at in range(MAX_PARTS)}
    assert "unpacks to more" in refuse(pack(parts))


def test_very_many_tags_are_refused_although_the_file_is_small() -> None:
    block = "<!---->" * 400
    content = with_sheet(*(f"{block}<!--{noise(48)}-->" for _ in range(MAX_TAGS // 400)))
    assert "unpacks to more" in refuse(content)


@pytest.mark.parametrize("attribute", ['a{}="x"', 'xmlns:a{}="x"', "a{}='>'"])
def test_a_tag_without_end_is_refused_before_it_is_taken_apart(attribute: str) -> None:
    content = with_sheet("<row ", " ".join(map(attribute.format, range(400_000))), "/>")
    took = []
    for _ in range(5):
        began = time.perf_counter()
        assert "longer than any" in refuse(content)
        took.append(time.perf_counter() - began)
    assert min(took) < 0.2, "the quickest of some: other work shares the machine"


def test_a_cell_with_the_longest_text_that_spreadsheets_allow_is_still_read() -> None:
    """32,767 characters (common practice), here of three bytes each; the cell is named instead."""
    content = with_sheet(f"<row>{inline('event')}{inline('ア' * 32_767)}</row>")
    _, problems = read_start_list(content)
    assert problems
    assert all(problem.row for problem in problems)


def test_two_parts_of_the_same_name_are_refused() -> None:
    """No two parts have names that differ in case alone: ECMA-376, Part 2, 6.3.2 (from memory)."""
    content = pack(with_part(SHEET.upper(), "<worksheet/>"))
    assert "twice" in refuse(content)


def test_elements_within_elements_without_end_are_refused() -> None:
    assert "damaged" in refuse(with_sheet("<x>" * MAX_DEPTH, "</x>" * MAX_DEPTH))


@pytest.mark.slow
def test_a_sheet_of_very_many_formatted_blank_cells_is_refused() -> None:
    rows = (f"<row>{'<c/>' * 20_000}<!--{noise(2000)}--></row>" for _ in range(MAX_CELLS // 20_000))
    assert "unpacks to more" in refuse(with_sheet(*rows, "<row><c/></row>"))


def test_a_row_beyond_the_limit_is_refused_also_when_rows_between_are_missing() -> None:
    content = with_sheet(
        f"<row>{inline('event')}</row>", f'<row r="1048576">{inline("stray")}</row>'
    )
    assert "below row 50,001" in refuse(content)


def test_a_column_beyond_the_limit_is_refused() -> None:
    book = openpyxl.Workbook()
    book.active.append(["event"])
    book.active["BM2"] = "stray"
    assert "more than 64 columns" in refuse(save(book))


@pytest.mark.parametrize(
    "document_type",
    [
        '<!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        '<!DOCTYPE w [<!ENTITY x SYSTEM "file:///etc/hostname">]>',
        '<!DOCTYPE w SYSTEM "http://127.0.0.1:9/w.dtd">',
        "<!DOCTYPE w>",
    ],
)
@pytest.mark.parametrize(
    "part", [SHEET, "xl/strings.xml", "xl/styles.xml", "xl/workbook.xml", "_rels/.rels"]
)
def test_a_document_type_is_refused_wherever_it_stands(document_type: str, part: str) -> None:
    parts = parts_of_workbook(f"<row>{inline('event')}</row>")
    assert "document type" in refuse(pack(parts | {part: document_type + parts[part]}))


def test_a_workbook_that_takes_values_from_other_files_is_refused() -> None:
    content = pack(with_part("xl/externalLinks/externalLink1.xml", "<externalLink/>"))
    assert "from other files" in refuse(content)


def test_a_sheet_outside_the_archive_is_not_followed() -> None:
    parts = parts_of_workbook(f"<row>{inline('event')}</row>")
    name = "xl/_rels/workbook.xml.rels"
    parts[name] = parts[name].replace('Target="worksheets/one.xml"', 'Target="../../../one.xml"')
    assert "lacks its part one.xml" in refuse(pack(parts))


def test_an_encrypted_part_is_refused_with_the_way_out() -> None:
    content = bytearray(pack(parts_of_workbook("")))
    at = content.rindex(SHEET.encode()) - 46
    content[at + 8] |= 1
    assert "password" in refuse(bytes(content))


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_an_unusual_way_of_packing_is_refused(method: int) -> None:
    assert "unusual way" in refuse(pack(parts_of_workbook(""), method))


def in_binary_form() -> dict[str, str]:
    """A workbook whose parts are binary records instead of XML."""
    parts = parts_of_workbook("")
    main = {"xl/workbook.bin": parts.pop("xl/workbook.xml")}
    return parts | main | {"_rels/.rels": parts["_rels/.rels"].replace("book.xml", "book.bin")}


@pytest.mark.parametrize("cell", ['<c t="s"><v>-1</v></c>', '<c s="-1"><v>4</v></c>'])
def test_a_text_or_a_style_before_the_first_is_not_taken_from_the_end(cell: str) -> None:
    parts = parts_of_workbook(
        f"<row>{inline('lane')}</row><row>{cell}</row>",
        strings="<si><t>4</t></si>",
        styles='<cellXfs><xf numFmtId="0"/></cellXfs>',
    )
    assert "damaged" in refuse(pack(parts))


@pytest.mark.parametrize(
    ("content", "part_of_reason"),
    [
        (pack({"mimetype": "application/vnd.oasis.opendocument.spreadsheet"}), "not an XLSX"),
        (pack({"word/document.xml": "<x/>"}), "not an XLSX"),
        (pack({}), "not an XLSX"),
        (pack(in_binary_form()), "not an XLSX"),
        (b"PK\x03\x04" + bytes(100), "damaged"),
        (as_xlsx([a_row()])[:-200], "damaged"),
        (with_sheet('<row r="3"/><row r="2"/>'), "damaged"),
        (with_sheet('<row r="x"/>'), "damaged"),
        (with_sheet('<row><c r="5"><v>1</v></c></row>'), "damaged"),
        (with_sheet('<row><c t="s"><v>7</v></c></row>'), "damaged"),
        (with_sheet("<row>"), "damaged"),
        (with_sheet(""), "empty"),
    ],
)
def test_other_archives_and_broken_workbooks_are_refused(
    content: bytes, part_of_reason: str
) -> None:
    assert part_of_reason in refuse(content)

"""CSV as RFC 4180 and the WHATWG Encoding Standard define it, and as programs write it."""

from __future__ import annotations

import csv
import itertools

import pytest

from app.sheets.start_list import StartList, read_start_list
from app.sheets.table import SheetRefused, Table, read_table
from tests.sheets.builders import a_row, as_csv, as_xlsx

# WHATWG Encoding Standard, index-windows-1252 (from memory): what differs from ISO 8859-1.
WINDOWS_1252 = {
    0x80: 0x20AC,
    0x82: 0x201A,
    0x83: 0x0192,
    0x84: 0x201E,
    0x85: 0x2026,
    0x86: 0x2020,
    0x87: 0x2021,
    0x88: 0x02C6,
    0x89: 0x2030,
    0x8A: 0x0160,
    0x8B: 0x2039,
    0x8C: 0x0152,
    0x8E: 0x017D,
    0x91: 0x2018,
    0x92: 0x2019,
    0x93: 0x201C,
    0x94: 0x201D,
    0x95: 0x2022,
    0x96: 0x2013,
    0x97: 0x2014,
    0x98: 0x02DC,
    0x99: 0x2122,
    0x9A: 0x0161,
    0x9B: 0x203A,
    0x9C: 0x0153,
    0x9E: 0x017E,
    0x9F: 0x0178,
}
NO_LETTER_IN_WINDOWS_1252 = (0x81, 0x8D, 0x8F, 0x90, 0x9D)
ROWS = [
    a_row(3, team="Œuvre Zürich, “A”", bib="0012", leg1="Ana Ö", leg4="Élodie"),
    a_row(4, team='Harbour "Gulls"; B', affiliation="Château", bib="-"),
]


def read(content: bytes, *columns: str) -> Table:
    table, problems = read_table(content, columns=columns or ("first", "second", "third"))
    assert problems == []
    return table


def cells(table: Table) -> list[list[str]]:
    return [list(row.cells.values()) for row in table.rows]


def good_list(content: bytes) -> StartList:
    found, problems = read_start_list(content)
    assert problems == ()
    return found


@pytest.mark.parametrize(
    ("delimiter", "encoding", "line_end", "quoting"),
    list(
        itertools.product(
            (",", ";", "\t"),
            ("utf-8", "utf-8-sig", "utf-16", "cp1252"),
            ("\r\n", "\n", "\r"),
            (csv.QUOTE_MINIMAL, csv.QUOTE_ALL),
        )
    ),
)
def test_every_delimiter_encoding_and_line_end_gives_the_same_start_list(
    delimiter: str, encoding: str, line_end: str, quoting: int
) -> None:
    content = as_csv(
        ROWS, delimiter=delimiter, encoding=encoding, line_end=line_end, quoting=quoting
    )
    assert good_list(content) == good_list(as_xlsx(ROWS))
    assert good_list(content).heats[0].entries[0].team == "Œuvre Zürich, “A”"


def test_big_endian_utf_16_is_told_by_its_mark() -> None:
    text = as_csv(ROWS).decode()
    assert good_list(b"\xfe\xff" + text.encode("utf-16-be")) == good_list(as_csv(ROWS))


def test_line_breaks_commas_and_quotes_inside_quotes_belong_to_the_cell() -> None:
    # RFC 4180, section 2, items 6 and 7.
    content = b'first,second,third\r\n"aaa","b \r\nbb","ccc"\r\nzzz,"y,y","b""bb"\r\n'
    assert cells(read(content)) == [["aaa", "b bb", "ccc"], ["zzz", "y,y", 'b"bb']]


def test_the_last_line_needs_no_line_break() -> None:
    # RFC 4180, section 2, item 2.
    assert cells(read(b"first,second,third\r\naaa,bbb,ccc\r\nzzz,yyy,xxx")) == [
        ["aaa", "bbb", "ccc"],
        ["zzz", "yyy", "xxx"],
    ]


def test_a_row_number_is_the_one_a_spreadsheet_shows_also_after_a_line_break_in_a_cell() -> None:
    table = read(b'first,second,third\r\n"a\r\nb",c,d\r\n\r\n,,\r\ne,f,g\r\n')
    assert [row.number for row in table.rows] == [2, 5]


@pytest.mark.parametrize("byte", WINDOWS_1252)
def test_bytes_above_127_are_read_as_the_encoding_standard_maps_them(byte: int) -> None:
    table = read(b"first\r\nA" + bytes([byte]) + b"\xe9\r\n", "first")
    assert cells(table) == [[f"A{chr(WINDOWS_1252[byte])}\u00e9"]]


@pytest.mark.parametrize("byte", NO_LETTER_IN_WINDOWS_1252)
def test_a_byte_that_is_no_letter_is_named_by_row_and_column(byte: int) -> None:
    content = b"first,second\r\na,b\r\nc,d" + bytes([byte]) + b"\r\n"
    table, problems = read_table(content, columns=("first", "second"))
    assert [(problem.row, problem.column) for problem in problems] == [(3, "second")]
    assert "CSV UTF-8" in problems[0].problem
    assert table.rows[1].cells == {"first": "c"}


def test_the_delimiter_inside_a_quoted_header_does_not_mislead() -> None:
    content = b'"first";"note, with, many, commas";"second"\r\na;b;c\r\n'
    assert cells(read(content, "first", "second")) == [["a", "c"]]


def test_the_delimiter_that_finds_our_columns_wins_over_the_more_frequent_one() -> None:
    content = b"lane;team;what, else, might, be, said\r\n4;Gulls;nothing\r\n"
    assert cells(read(content, "lane", "team")) == [["4", "Gulls"]]


def test_empty_lines_above_the_header_are_passed_over() -> None:
    table = read(b"\r\n;;\r\nfirst;second;third\r\n1;2;3\r\n")
    assert [row.number for row in table.rows] == [4]


@pytest.mark.parametrize(
    ("content", "part_of_reason", "row"),
    [
        (b"", "empty", None),
        (b"\xef\xbb\xbf \r\n\r\n", "empty", None),
        (b"first\r\n" + b"x" * (8 * 1024 * 1024), "larger than 8 MiB", None),
        (b"first\r\n" + b"x\r\n" * 50_001, "more than 50,000 rows", 50_002),
        (b",".join(b"c%d" % at for at in range(65)), "more than 64 columns", 1),
        (b'first,second\r\na,"b\r\nc,d\r\n', "quotation mark", 2),
        (b'first,second\r\na,"b"c\r\n', "quotation mark", 2),
        (b"first,second\r\n" + b"x" * 131_073, "far too long", 2),
        (b"\xef\xbb\xbffirst\r\n\xff\r\n", "UTF-8", None),
        (b"\xff\xfef\x00i\x00r", "UTF-16", None),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not a text table", None),
        (b"\xff\xfe\x00\x00f\x00\x00\x00", "not a text table", None),
        (bytes.fromhex("D0CF11E0A1B11AE1") + bytes(512), "password", None),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(
    content: bytes, part_of_reason: str, row: int | None
) -> None:
    with pytest.raises(SheetRefused, match=part_of_reason) as refusal:
        read_table(content, columns=("first", "second"))
    assert [problem.row for problem in refusal.value.problems] == [row]


def test_the_limits_themselves_are_allowed() -> None:
    header = b",".join([b"first", *(b"c%d" % at for at in range(63))])
    assert len(read(header + b"\r\n" + b"x" + b"," * 63, "first").rows) == 1
    assert len(read(b"first\r\n" + b"x\r\n" * 50_000, "first").rows) == 50_000

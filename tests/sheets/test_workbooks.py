"""XLSX as ECMA-376 defines it: what a person sees in the first visible sheet."""

from __future__ import annotations

import io
import unicodedata
from datetime import datetime, time, timedelta

import openpyxl  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.table import Problem, Table, read_table
from tests.sheets.builders import Value, as_xlsx, inline, pack, parts_of_workbook, save

HEAD = f"<row>{inline('lane')}{inline('team')}</row>"


def read(content: bytes) -> tuple[Table, list[Problem]]:
    return read_table(content, columns=("lane", "team", "time"), times=("time",))


def read_one(cell: str, **parts: str) -> str:
    """What a single cell under the header "time" reads as."""
    sheet = f"<row>{inline('time')}</row><row>{cell}</row>"
    table, problems = read(pack(parts_of_workbook(sheet, **parts)))
    assert problems == []
    return table.rows[0].cells["time"]


def shown(value: object, number_format: str = "General") -> str:
    """What a value reads as that openpyxl has written with a number format."""
    book = openpyxl.Workbook()
    book.active.append(["time"])
    book.active.append([value])
    book.active["A2"].number_format = number_format
    table, problems = read(save(book))
    assert problems == []
    return table.rows[0].cells["time"]


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (3.0, "General", "3"),
        (3, "General", "3"),
        (42.35, "General", "42.35"),
        (42.3, "0.00", "42.30"),
        (43, "0.00", "43.00"),
        (42.357, "0.00", "42.357"),
        (12, "0000", "0012"),
        ("0012", "General", "0012"),
        ("0012", "@", "0012"),
        (-0.5, "General", "-0.5"),
        (1200, "#,##0", "1200"),
        (True, "General", "TRUE"),
        (time(0, 3, 2, 120000), "mm:ss.00", "0:03:02.12"),
        (timedelta(minutes=3, seconds=2, milliseconds=123), "[h]:mm:ss.000", "0:03:02.123"),
        (timedelta(minutes=3, seconds=2, milliseconds=100), "mm:ss.00", "0:03:02.10"),
        (timedelta(hours=26), "[h]:mm:ss", "26:00:00"),
        (time(14, 20), "h:mm", "14:20:00"),
        (datetime.fromisoformat("2026-05-03T14:20"), "yyyy-mm-dd hh:mm", "2026-05-03 14:20:00"),
    ],
)
def test_a_cell_reads_as_a_person_sees_it(value: object, number_format: str, text: str) -> None:
    assert shown(value, number_format) == text


# The first and the last are examples of ECMA-376, Part 1, 18.17.4.3 (from memory; printed to seven
# decimals, hence the tolerance). The others follow from MS-XLSB 2.5.30: below 60 the days count
# from 31 December 1899, above 60 from 30 December 1899.
@pytest.mark.parametrize(
    ("serial", "text"),
    [
        ("3687.4207639", "1910-02-03 10:05:54"),
        ("1.5", "1900-01-01 12:00:00"),
        ("59", "1900-02-28 00:00:00"),
        ("61", "1900-03-01 00:00:00"),
        ("46145.25", "2026-05-03 06:00:00"),
        ("2958465.9999884", "9999-12-31 23:59:59"),
    ],
)
def test_a_stored_date_is_the_one_of_the_standard(serial: str, text: str) -> None:
    styles = '<cellXfs><xf numFmtId="22"/></cellXfs>'
    found = read_one(f'<c s="0"><v>{serial}</v></c>', styles=styles)
    difference = datetime.fromisoformat(found) - datetime.fromisoformat(text)
    assert abs(difference) < timedelta(milliseconds=5)


def test_dates_can_count_from_1904() -> None:
    # MS-XLSB 2.5.30: the days count from 1 January 1904.
    found = read_one(
        '<c s="0"><v>1.25</v></c>',
        styles='<cellXfs><xf numFmtId="22"/></cellXfs>',
        properties='<workbookPr date1904="1"/>',
    )
    assert found == "1904-01-02 06:00:00"


def test_shared_texts_are_joined_without_their_phonetic_guides() -> None:
    # ECMA-376, Part 1, 18.4.8 (rich text runs) and 18.4.6 (phonetic runs).
    strings = (
        "<si><t>unused</t></si>"
        '<si><r><t>Gulls </t></r><r><t xml:space="preserve">of Ōtaki</t></r>'
        '<rPh sb="0" eb="1"><t>guide</t></rPh></si>'
    )
    assert read_one('<c t="s"><v>1</v></c>', strings=strings) == "Gulls of Ōtaki"


def test_an_escaped_character_counts_as_the_character() -> None:
    # ECMA-376, Part 1, 22.9.2.19: _x000A_ is a line feed, _x005F_ an underscore.
    assert read_one(inline("Gulls_x000A_A_x005F_1")) == "Gulls A_1"


def test_names_with_a_prefix_and_cells_without_a_position_are_read() -> None:
    parts = parts_of_workbook("")
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    parts["xl/worksheets/one.xml"] = (
        f'<x:worksheet xmlns:x="{space}"><x:sheetData>'
        '<x:row r="2"><x:c t="inlineStr"><x:is><x:t>lane</x:t></x:is></x:c>'
        '<x:c r="C2" t="str"><x:v>team</x:v></x:c></x:row>'
        '<x:row r="5"><x:c r="C5" t="inlineStr"><x:is><x:t>Gulls</x:t></x:is></x:c></x:row>'
        "</x:sheetData></x:worksheet>"
    )
    table, problems = read(pack(parts))
    assert problems == []
    assert [(row.number, dict(row.cells)) for row in table.rows] == [
        (5, {"time": "", "lane": "", "team": "Gulls"})
    ]


def test_a_row_of_white_space_alone_counts_as_empty() -> None:
    sheet = f"<row>{inline(' ')}</row>{HEAD}<row>{inline(' ')}</row><row>{inline('4')}</row>"
    table, problems = read(pack(parts_of_workbook(sheet)))
    assert problems == []
    assert [row.number for row in table.rows] == [4]


def test_a_workbook_needs_neither_shared_texts_nor_styles() -> None:
    parts = parts_of_workbook(f'{HEAD}<row><c s="3"><v>4</v></c>{inline("Gulls")}</row>')
    name = "xl/_rels/workbook.xml.rels"
    parts[name] = parts[name].replace("sharedStrings", "theme").replace("styles", "theme")
    table, problems = read(pack(parts))
    assert problems == []
    assert dict(table.rows[0].cells) == {"lane": "4", "team": "Gulls", "time": ""}


@pytest.mark.parametrize("state", ["hidden", "veryHidden"])
def test_a_hidden_sheet_and_an_empty_one_are_passed_over(state: str) -> None:
    book = openpyxl.Workbook()
    book.active.append(["lane", "team"])
    book.active.append([9, "Old"])
    book.active.sheet_state = state
    book.create_sheet("empty")
    book.create_sheet("list").append(["lane", "team"])
    book["list"].append([4, "Gulls"])
    book.create_sheet("notes").append(["lane", "team"])
    book.active = 2
    table, problems = read(save(book))
    assert problems == []
    assert [row.cells["lane"] for row in table.rows] == ["4"]


def test_a_formula_is_named_by_row_and_column_whatever_it_last_showed() -> None:
    sheet = f'{HEAD}<row><c r="A2"><f>1+3</f><v>4</v></c>{inline("Gulls")}</row>'
    table, problems = read(pack(parts_of_workbook(sheet)))
    assert [(problem.row, problem.column) for problem in problems] == [(2, "lane")]
    assert "formula" in problems[0].problem
    assert table.rows[0].cells["team"] == "Gulls"


def test_a_formula_in_a_column_that_is_not_ours_does_no_harm() -> None:
    book = openpyxl.Workbook()
    book.active.append(["lane", "team", "sum"])
    book.active.append([4, "Gulls", "=A2*2"])
    table, problems = read(save(book))
    assert problems == []
    assert table.ignored_columns == ("sum",)


@pytest.mark.parametrize(
    ("cell", "part_of_reason"),
    [
        ('<c r="B2" t="e"><v>#REF!</v></c>', "error #REF!"),
        ('<c r="B2"><v>1e999</v></c>', "cannot be read"),
        ('<c r="B2"><v>NaN</v></c>', "cannot be read"),
        ('<c r="B2"><v>four</v></c>', "cannot be read"),
        ('<c r="B2" s="1"><v>46145</v></c>', "into a date"),
        ('<c r="B2" t="d"><v>2026-05-03T14:20:00</v></c>', "into a date"),
        ('<c r="B2" s="1"><v>-1</v></c>', "outside the calendar"),
        ('<c r="B2" s="1"><v>1e15</v></c>', "outside the calendar"),
        (f'<c r="B2" t="inlineStr"><is><t>{"x" * 501}</t></is></c>', "at most 500"),
        (f'<c r="B2" t="inlineStr"><is><t>{"x" * 70_000}</t></is></c>', "at most 500"),
        ('<c r="B2" t="inlineStr"><is><t>Gu_x0007_lls</t></is></c>', "U\\+0007"),
        ('<c r="B2" t="inlineStr"><is><t>Gu_xD800_lls</t></is></c>', "was lost"),
        ('<c r="B2" t="inlineStr"><is><t>=1+1</t></is></c>', "formula"),
    ],
)
def test_a_cell_that_cannot_be_taken_is_named(cell: str, part_of_reason: str) -> None:
    sheet = f"{HEAD}<row>{cell}</row>"
    styles = '<cellXfs><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs>'
    _, problems = read(pack(parts_of_workbook(sheet, styles=styles)))
    assert [(problem.row, problem.column) for problem in problems] == [(2, "team")]
    with pytest.raises(AssertionError, match=part_of_reason):
        raise AssertionError(problems[0].problem)


def test_a_row_wider_than_the_header_is_named_and_a_shorter_one_is_not() -> None:
    rows: list[list[Value]] = [["lane", "team"], [4], [5, "Gulls", None, "stray"]]
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    _, problems = read(save(book))
    assert [(problem.row, problem.column) for problem in problems] == [(3, None)]


VALUES = st.one_of(
    st.integers(-(10**14), 10**14),
    st.floats(-1e6, 1e6, allow_subnormal=False).map(lambda value: round(value, 3)),
    st.text(st.characters(categories=("L", "N", "P", "S")), min_size=1, max_size=20),
)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(VALUES, VALUES), min_size=1, max_size=6))
def test_a_reference_reader_finds_the_same_values(rows: list[tuple[Value, Value]]) -> None:
    content = as_xlsx([{"lane": one, "team": other} for one, other in rows])
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    expected = {
        (cell.row, column): cell.value
        for row in book.active.iter_rows(min_row=2)
        for cell, column in zip(row, ("lane", "team"), strict=True)
        if cell.data_type in "ns"
    }
    table, problems = read(content)
    refused = {(problem.row, problem.column) for problem in problems}
    for row in table.rows:
        for column, text in row.cells.items():
            value = expected.get((row.number, column), "")
            if isinstance(value, str):
                assert text == " ".join(unicodedata.normalize("NFC", value).split())
            else:
                assert float(text) == value
    assert {place for place in expected if place not in refused} <= {
        (row.number, column) for row in table.rows for column in row.cells
    }

"""What a file is told that a tired official saved the wrong way: where, why, and the way out."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import openpyxl  # type: ignore[import-untyped]
import pytest

from app.sheets.finish_list import read_finish_list
from app.sheets.problems import Problem, SheetRefused
from app.sheets.start_list import read_start_list
from tests.sheets.builders import a_row, as_csv, as_xlsx, save

HEADER = "event,round,heat,lane,team"
# A spreadsheet's date and time has no zone.
AFTERNOON = datetime.fromisoformat("2026-06-13T14:20")
MIDNIGHT = datetime.fromisoformat("2026-06-13T00:00")
MAPPING = 'columns={"your name for it":"%s"}'


def problems_of(content: bytes | str, read: Any = read_start_list) -> tuple[Problem, ...]:
    try:
        found: tuple[Problem, ...] = read(
            content if isinstance(content, bytes) else content.encode()
        )[1]
    except SheetRefused as refused:
        return refused.problems
    return found


def a_book(*rows: list[Any]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    return save(book)


@pytest.mark.parametrize(
    "content",
    [
        f"{HEADER} W 4x100,heats,1,4,Tern W 4x100,heats,1,5,Gull",
        f"{HEADER}\\nW 4x100,heats,1,4,Tern",
        f"{HEADER},bib W 4x100,heats,1,4,Tern,7",
    ],
)
def test_a_list_that_lost_its_line_breaks_is_told_so(content: str) -> None:
    told = problems_of(content)
    assert (1, None) in [(one.row, one.column) for one in told]
    assert any("its line breaks were lost" in one.problem for one in told)


def test_a_header_without_rows_lost_no_line_breaks() -> None:
    (told,) = problems_of(f"{HEADER}\n")
    assert "names no team" in told.problem


@pytest.mark.parametrize(
    ("content", "shown"),
    [
        ("event|round|heat|lane|team\n4x100|h|1|4|Tern\n", "“event|round|heat|lane|team”"),
        ('"event,round,heat,lane,team"\n"4x100,h,1,4,Tern"\n', "“event,round,heat,lane,team”"),
        (f"Harbour Relays\n\n{HEADER}\n4x100,h,1,4,Tern\n", "“Harbour Relays”"),
        (a_book(["Harbour Relays"], [], HEADER.split(","), ["4x100", "h", 1, 4, "Tern"]), "“Harb"),
        ("<html><body>Not found</body></html>", "“<html>"),
        ("%PDF-1.7\n1 0 obj", "“%PDF-1.7”"),
    ],
)
def test_a_first_row_of_one_cell_is_told_what_belongs_there(
    content: str | bytes, shown: str
) -> None:
    (told,) = problems_of(content)
    assert (told.row, told.column) == (1, None)
    assert f"holds only {shown}" in told.problem
    assert "Delete what stands above the names, or save the list again" in told.problem


@pytest.mark.parametrize("column", ["event", "round", "heat", "lane", "team"])
def test_a_header_in_another_language_is_told_how_to_map_it(column: str) -> None:
    told = problems_of("Wettbewerb;Runde;Lauf;Bahn;Mannschaft\nFrauen 4x100;Vorlauf;1;4;Möwe\n")
    (problem,) = [one.problem for one in told if one.column == column]
    assert MAPPING % column in problem
    assert "“Lauf”, “Bahn”, “Mannschaft”" in problem


def test_a_finish_list_in_another_language_is_told_how_to_map_lane_and_time() -> None:
    told = problems_of("Bahn;Zeit\n4;42,35\n5;42,50\n", read_finish_list)
    assert [(one.row, one.column) for one in told] == [(1, "lane"), (1, "time")]
    for one in told:
        assert MAPPING % one.column in one.problem
        assert "The file has “Bahn”, “Zeit”." in one.problem


def test_a_finish_list_of_lanes_alone_is_told_once() -> None:
    (told,) = problems_of(as_csv([a_row(4), a_row(5)]), read_finish_list)
    assert (told.row, told.column) == (1, "time")
    assert "None of the columns time, status and place is there" in told.problem


@pytest.mark.parametrize("cell", ["=A1", "+A1", "-A1", "@A1", '=HYPERLINK("x")'])
@pytest.mark.parametrize("write", [as_csv, as_xlsx])
def test_a_formula_is_named_in_every_kind_of_file(cell: str, write: Any) -> None:
    (told,) = problems_of(write([a_row(4), a_row(5, team=cell)]))
    assert (told.row, told.column) == (3, "team")
    assert "Put in the plain value" in told.problem


@pytest.mark.parametrize("typed", [date(2026, 4, 3), AFTERNOON])
@pytest.mark.parametrize("column", ["heat", "lane", "team", "bib"])
def test_a_cell_that_the_spreadsheet_made_a_date_is_named(typed: date, column: str) -> None:
    row: dict[str, Any] = a_row(5) | {column: typed}
    (told,) = problems_of(a_book(list(row), list(row.values())))
    assert (told.row, told.column) == (2, column)
    assert "Format the column as text" in told.problem


@pytest.mark.parametrize("typed", [date(2026, 4, 3), AFTERNOON])
def test_a_time_that_the_spreadsheet_made_a_date_is_named(typed: date) -> None:
    (told,) = problems_of(a_book(["lane", "time"], [4, typed]), read_finish_list)
    assert (told.row, told.column) == (2, "time")
    assert "Format the column as text and type the time again" in told.problem


def test_a_date_without_a_time_of_day_is_no_start_time() -> None:
    rows: list[list[Any]] = [[*HEADER.split(","), "scheduled"], ["4x100", "h", 1, 4, "Tern"]]
    (told,) = problems_of(a_book(rows[0], [*rows[1], date(2026, 6, 13)]))
    assert (told.row, told.column) == (2, "scheduled")
    for typed in (AFTERNOON, MIDNIGHT, timedelta(hours=14)):
        assert problems_of(a_book(rows[0], [*rows[1], typed])) == ()

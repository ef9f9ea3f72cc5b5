"""Columns are found, and each cell that cannot be taken is named by row and column."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.cells import is_formula
from app.sheets.limits import MAX_PROBLEMS
from app.sheets.table import NO_MAPPING, Problem, Table, read_table

COLUMNS = ("lane", "team", "bib")


def read(text: str, mapping: Mapping[str, str] = NO_MAPPING) -> tuple[Table, list[Problem]]:
    return read_table(text.encode(), columns=COLUMNS, required=("lane", "team"), mapping=mapping)


def places(problems: list[Problem]) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in problems]


def test_headers_are_known_whatever_their_case_and_spaces() -> None:
    table, problems = read(" LANE ,T e a m,Bib\r\n4,Gulls,7\r\n")
    assert problems == []
    assert table.header == ("lane", "team", "bib")
    assert dict(table.rows[0].cells) == {"lane": "4", "team": "Gulls", "bib": "7"}


def test_an_optional_column_that_is_not_there_reads_as_empty() -> None:
    table, problems = read("lane,team\r\n4,Gulls\r\n")
    assert problems == []
    assert table.rows[0].cells["bib"] == ""


def test_columns_that_are_not_ours_are_left_aside_and_listed() -> None:
    table, problems = read("lane,Coach,team,,bib\r\n4,=1+1,Gulls,\x01,7\r\n")
    assert problems == []
    assert table.ignored_columns == ("Coach", "(column 4, without a name)")


def test_own_header_names_are_read_by_a_mapping() -> None:
    table, problems = read(
        "Bahn;Mannschaft\r\n4;Gulls\r\n", mapping={"bahn": "lane", " Mannschaft": "team"}
    )
    assert problems == []
    assert dict(table.rows[0].cells) == {"lane": "4", "team": "Gulls", "bib": ""}


def test_a_mapped_column_takes_the_place_of_the_one_with_our_name() -> None:
    table, problems = read("lane,team,squad\r\n4,Red,Gulls\r\n", mapping={"squad": "team"})
    assert problems == []
    assert table.rows[0].cells["team"] == "Gulls"
    assert table.ignored_columns == ("team",)


def test_a_missing_column_is_named_with_the_columns_that_are_there() -> None:
    _, problems = read("lane,squad\r\n4,Gulls\r\n")
    assert places(problems) == [(1, "team")]
    assert "“squad”" in problems[0].problem
    assert "say which of your columns" in problems[0].problem


def test_a_column_that_is_there_twice_is_named() -> None:
    _, problems = read("lane,team,Team\r\n4,Gulls,Terns\r\n")
    assert places(problems) == [(1, "team")]
    assert "2 times" in problems[0].problem


@pytest.mark.parametrize(
    ("mapping", "part"),
    [
        ({"team": "squad"}, "no such column. Choose from lane, team, bib"),
        ({"squad": "bib"}, "the file has no such column"),
    ],
)
def test_a_mapping_that_leads_nowhere_is_named(mapping: dict[str, str], part: str) -> None:
    _, problems = read("lane,team,bib\r\n4,Gulls,7\r\n", mapping=mapping)
    assert any(part in problem.problem for problem in problems)


@pytest.mark.parametrize("row", ["4,Gulls", "4,Gulls,7,8", "4,42,35,7"])
def test_a_ragged_row_is_named(row: str) -> None:
    # RFC 4180, section 2, item 4: each line has the same number of fields.
    table, problems = read(f"lane,team,bib\r\n{row}\r\n5,Terns,8\r\n")
    assert places(problems) == [(2, None)]
    assert "quotation marks around the cell" in problems[0].problem
    assert [line.number for line in table.rows] == [3]


def test_empty_cells_after_the_last_column_are_no_fault() -> None:
    table, problems = read("lane,team,bib,,\r\n4,Gulls,7,,\r\n5,Terns,8, ,,\r\n")
    assert problems == []
    assert len(table.rows) == 2


@pytest.mark.parametrize("control", ["\x00", "\x07", "\x1b", "\x1f", "\x7f", "\x85", "\x9f"])
def test_a_control_character_is_named_by_row_and_column(control: str) -> None:
    # Unicode general category Cc; the filler keeps the file from being taken for a binary one.
    filler = "1,Filler,1\r\n" * 200
    _, problems = read(f"lane,team,bib\r\n{filler}4,Gu{control}lls,7\r\n")
    assert unicodedata.category(control) == "Cc"
    assert places(problems) == [(202, "team")]
    assert f"U+{ord(control):04X}" in problems[0].problem


@pytest.mark.parametrize("hidden", ["\u202e", "\u2066", "\u200b", "\u00ad", "\ufeff"])
def test_a_character_that_hides_or_turns_text_is_named(hidden: str) -> None:
    _, problems = read(f"lane,team,bib\r\n4,Gu{hidden}lls,7\r\n")
    assert places(problems) == [(2, "team")]
    assert "hidden character" in problems[0].problem


def test_a_letter_lost_in_saving_is_named() -> None:
    _, problems = read("lane,team,bib\r\n4,Gu\ufffdlls,7\r\n")
    assert places(problems) == [(2, "team")]


def test_a_cell_that_is_too_long_is_named() -> None:
    _, problems = read(f"lane,team,bib\r\n4,{'x' * 501},7\r\n5,{'x' * 500},7\r\n")
    assert places(problems) == [(2, "team")]


# The characters that begin a formula: OWASP, CSV Injection.
@pytest.mark.parametrize(
    "formula", ["=1+1", "+A1", "-A1", "@SUM(A1)", "=cmd|' /C calc'!A0", "+1+cmd", "  =1"]
)
def test_a_formula_is_named_by_row_and_column(formula: str) -> None:
    _, problems = read(f"lane,team,bib\r\n4,Gulls,{formula}\r\n")
    assert places(problems) == [(2, "bib")]


@pytest.mark.parametrize("text", ["+1", "-0,35", "+44 20 7946", "-", "--", "a=b", "A@B", ""])
def test_signed_numbers_dashes_and_signs_within_a_text_are_no_formula(text: str) -> None:
    assert not is_formula(text)


def test_one_bad_cell_does_not_hide_the_others_of_its_row() -> None:
    table, problems = read("lane,team,bib\r\n=4,Gu\x01lls,@7\r\n")
    assert places(problems) == [(2, "lane"), (2, "team"), (2, "bib")]
    assert dict(table.rows[0].cells) == {}


def test_the_list_of_problems_ends_after_200_and_counts_the_rest() -> None:
    _, problems = read("lane,team,bib\r\n" + "=4,=Gulls,7\r\n" * 150)
    assert len(problems) == MAX_PROBLEMS + 1
    assert problems[-1].problem.startswith("And 100 more.")


@settings(deadline=None)
@given(st.text(max_size=60))
def test_a_text_comes_out_in_normal_form_c_and_without_needless_space(text: str) -> None:
    # Unicode Standard Annex 15; the reference is the standard library's unicodedata.
    quoted = text.replace('"', '""').encode("utf-8", errors="replace")
    # The first line keeps a NUL from making the file a binary one.
    content = b"lane,team,bib\r\n" + b"," * 1024 + b'\r\n4,"' + quoted + b'",7\r\n'
    table, problems = read_table(content, columns=COLUMNS)
    if problems:
        assert places(problems) == [(3, "team")]
    else:
        expected = " ".join(unicodedata.normalize("NFC", text).split())
        assert table.rows[0].cells["team"] == expected

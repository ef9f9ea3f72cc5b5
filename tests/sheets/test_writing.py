"""What goes out is RFC 4180 and runs nothing in a spreadsheet."""

from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.writing import write_csv


def test_lines_end_and_cells_are_quoted_as_the_standard_says() -> None:
    # RFC 4180, section 2, items 1, 6 and 7.
    text = write_csv(("team", "note"), [("Gulls, A", 'say "go"'), ("Terns", "two\r\nlines")])
    assert text == 'team,note\r\n"Gulls, A","say ""go"""\r\nTerns,"two\r\nlines"\r\n'


def test_numbers_stay_numbers_and_nothing_stays_empty() -> None:
    text = write_csv(("a", "b", "c", "d"), [(-5, -0.5, Decimal("-0.35"), None)])
    assert text.splitlines()[1] == "-5,-0.5,-0.35,"


# The characters that begin a formula: OWASP, CSV Injection.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_text_that_would_run_gets_an_apostrophe(start: str) -> None:
    rows = list(csv.reader(io.StringIO(write_csv((f"{start}h",), [(f"{start}1+1",)]), newline="")))
    assert rows == [[f"'{start}h"], [f"'{start}1+1"]]


def test_white_space_in_front_hides_no_formula() -> None:
    assert write_csv(("a",), [("  =1+1",)]).splitlines()[1] == "'  =1+1"


@settings(deadline=None)
@given(st.lists(st.lists(st.text(max_size=12), min_size=2, max_size=2), max_size=6))
def test_no_cell_that_goes_out_begins_a_formula_and_none_is_lost(rows: list[list[str]]) -> None:
    # The reference reader is the standard library's.
    text = write_csv(("one", "two"), rows)
    read = list(csv.reader(io.StringIO(text, newline="")))[1:]
    assert all(not cell.lstrip().startswith(("=", "+", "-", "@")) for row in read for cell in row)
    assert [[cell.removeprefix("'") for cell in row] for row in read] == [
        [cell.removeprefix("'") for cell in row] for row in rows
    ]

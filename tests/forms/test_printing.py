"""The sheets come out of a printer whole: nothing in the rim it leaves blank, grey where needed."""

import pytest

from app.forms.infringement_form import InkField, draw_infringement_form
from app.forms.paper import Paper
from app.forms.result_sheet import draw_result_sheet
from tests.forms.builders import NAMES, a_form, a_line, a_mark, a_report, a_result, a_zone
from tests.forms.pdf_reading import Picture, count_pages, take_picture

both_papers = pytest.mark.parametrize("paper", list(Paper))
RIM_MM = 8  # what common office printers leave blank (common practice)
DOTS_PER_INCH = 75

EXTREME = a_form(
    team="W" * 300,
    case_id="Ẫ" * 200,
    edition="W" * 500,
    effect="DQ " * 40,
    zones=(a_zone(*(a_mark(metres) for metres in (-90.0, -5.0, 0.0, 34.9, 35.0, 80.0, 1e9))),),
    reports=(a_report(words="\n".join(NAMES.values()), post="e" + "\u0302" * 60),) * 3,
    ruling_reasons="ẪỄ" * 4000,
    ink_fields=(InkField("W" * 200, "Ẫ" * 200), InkField("Referee")),
    printed_at="W" * 200,
)


def has_ink_in_rim(picture: Picture) -> bool:
    """Whether any dot within the rim is not white."""
    rim = int(RIM_MM / 25.4 * DOTS_PER_INCH)
    rows = [picture.row(y) for y in range(picture.height)]
    outer = [*rows[:rim], *rows[-rim:]]
    sides = [part for row in rows for part in (row[:rim], row[-rim:])]
    return any(part.strip(b"\xff") for part in outer + sides)


def check_rims(pdf: bytes) -> list[int]:
    """The pages that have ink in the rim."""
    pages = range(1, count_pages(pdf) + 1)
    return [n for n in pages if has_ink_in_rim(take_picture(pdf, n, DOTS_PER_INCH))]


@both_papers
def test_an_ordinary_form_leaves_the_rim_blank(paper: Paper) -> None:
    assert check_rims(draw_infringement_form(a_form(), paper)) == []


@both_papers
def test_an_extreme_form_leaves_the_rim_blank(paper: Paper) -> None:
    assert check_rims(draw_infringement_form(EXTREME, paper)) == []


@both_papers
def test_a_result_leaves_the_rim_blank(paper: Paper) -> None:
    lines = tuple(a_line(1, place="W" * 40, annotation="DQ TR24.7 " * 9) for _ in range(40))
    assert check_rims(draw_result_sheet(a_result(lines=lines), paper)) == []


def test_a_page_with_ink_in_the_rim_would_be_found() -> None:
    blank = Picture(100, 100, b"\xff" * 10_000)
    spotted = Picture(100, 100, b"\xff" * 5_003 + b"\x00" + b"\xff" * 4_996)
    assert not has_ink_in_rim(blank)
    assert has_ink_in_rim(spotted)


def test_a_letter_that_cannot_be_printed_stands_as_a_box() -> None:
    # An unprinted letter must leave ink, or a name would look shorter than it is.
    without = take_picture(draw_infringement_form(a_form(effect="DQ"), Paper.A4), 1, 75)
    box = take_picture(draw_infringement_form(a_form(effect="DQ 湖"), Paper.A4), 1, 75)
    upper = slice(0, without.width * without.height // 3)
    assert sum(box.dots[upper]) < sum(without.dots[upper]) - 2_000

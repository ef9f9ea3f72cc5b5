"""The record's head on paper: short in words, and whole as a code that others' readers read."""

from collections.abc import Callable

import pytest
import zxingcpp
from PIL import Image

from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import POINTS_PER_MM, Paper
from app.forms.record_head import PrintedHead, encode, measure
from app.forms.remedy_paper import draw_remedy_paper
from app.forms.result_sheet import draw_result_sheet
from tests.forms.builders import DIGEST, HEAD, NOTE, a_form, a_line, a_result
from tests.forms.pdf_reading import count_pages, read_pages, read_text, take_picture
from tests.forms.remedy_builders import a_jury_decision, a_protest, a_referee_decision, an_appeal

Draw = Callable[[PrintedHead, Paper], bytes]

DRAWN: dict[str, Draw] = {
    "infringement form": lambda head, paper: draw_infringement_form(a_form(head=head), paper),
    "result": lambda head, paper: draw_result_sheet(a_result(head=head), paper),
    "protest": lambda head, paper: draw_remedy_paper(a_protest(head=head), paper),
    "referee's decision": lambda head, paper: draw_remedy_paper(
        a_referee_decision(head=head), paper
    ),
    "appeal": lambda head, paper: draw_remedy_paper(an_appeal(head=head), paper),
    "jury's decision": lambda head, paper: draw_remedy_paper(a_jury_decision(head=head), paper),
}
both_papers = pytest.mark.parametrize("paper", list(Paper))
all_kinds = pytest.mark.parametrize("draw", list(DRAWN.values()), ids=list(DRAWN))
DOTS_PER_INCH = 200  # as a phone sees a sheet held before it


def read_codes(pdf: bytes, page: int = 1) -> list[str]:
    """What a reader of codes, which shares nothing with their maker, finds on a page."""
    picture = take_picture(pdf, page, DOTS_PER_INCH)
    image = Image.frombytes("L", (picture.width, picture.height), picture.dots)
    return [code.bytes.decode("utf-8") for code in zxingcpp.read_barcodes(image)]


@both_papers
@all_kinds
def test_the_code_on_every_sheet_holds_the_whole_signed_note(draw: Draw, paper: Paper) -> None:
    assert read_codes(draw(HEAD, paper)) == [NOTE]


@both_papers
@all_kinds
def test_every_sheet_says_its_head_in_short_and_what_it_is_good_for(
    draw: Draw, paper: Paper
) -> None:
    (page,) = read_pages(draw(HEAD, paper))
    assert (
        "Record head 412 · 2d71 1642 b726 b044 · Whoever keeps this sheet can prove a later "
        "rewrite of the record."
    ) in page


@all_kinds
def test_without_a_signed_note_the_head_stands_in_short_and_there_is_no_code(draw: Draw) -> None:
    pdf = draw(PrintedHead(412, DIGEST), Paper.A4)
    assert "Record head 412" in read_text(pdf)
    assert read_codes(pdf) == []


def test_a_sheet_without_a_head_says_nothing_about_one() -> None:
    assert "Record head" not in read_text(
        draw_remedy_paper(a_protest(head=PrintedHead()), Paper.A4)
    )


@pytest.mark.parametrize("length", [1, 100, 250, 331, 400, 600])
def test_a_code_is_large_enough_for_a_phone_however_long_its_note(length: int) -> None:
    """25 mm, and 0.4 mm a module, as the issue and common practice have it."""
    rows = encode("z" * length)
    side, quiet = measure(rows)
    assert side / POINTS_PER_MM >= 25.0 - 1e-6
    assert side / POINTS_PER_MM / len(rows) >= 0.4 - 1e-6
    assert quiet == pytest.approx(4 * side / len(rows))  # ISO/IEC 18004, 5.3.8
    assert all(len(row) == len(rows) for row in rows)


@pytest.mark.parametrize("length", [0, 120])
@both_papers
def test_a_longer_note_can_be_read_too(length: int, paper: Paper) -> None:
    note = NOTE + "witness " * (length // 8) + "\n"
    assert read_codes(draw_result_sheet(a_result(head=PrintedHead(412, DIGEST, note)), paper)) == [
        note
    ]


@both_papers
def test_nothing_stands_in_the_white_around_a_code(paper: Paper) -> None:
    """Else the next line, or a line for ink, would make it unreadable."""
    pdf = draw_infringement_form(a_form(), paper)
    picture = take_picture(pdf, 1, DOTS_PER_INCH)
    image = Image.frombytes("L", (picture.width, picture.height), picture.dots)
    (code,) = zxingcpp.read_barcodes(image)
    rows = encode(NOTE)
    white = round(measure(rows)[1] / 72 * DOTS_PER_INCH) - 2
    left, top = code.position.top_left.x, code.position.top_left.y
    right, bottom = code.position.bottom_right.x, code.position.bottom_right.y
    around = [
        image.crop((left - white, top - white, left - 2, bottom + white)),
        image.crop((left - white, top - white, right + white, top - 2)),
        image.crop((left - white, bottom + 3, right + white, bottom + white)),
        image.crop((right + 3, top - white, right + white, bottom + white)),
    ]
    assert [part.getextrema() for part in around] == [(255, 255)] * 4


@both_papers
def test_a_long_result_carries_its_code_on_its_last_page(paper: Paper) -> None:
    lines = tuple(a_line(1, team=f"Team number {number}") for number in range(60))
    pdf = draw_result_sheet(a_result(lines=lines), paper)
    pages = count_pages(pdf)
    assert pages > 1
    assert [read_codes(pdf, page) for page in range(1, pages + 1)] == [
        *([[]] * (pages - 1)),
        [NOTE],
    ]


@both_papers
@pytest.mark.parametrize("lines", range(5, 60, 6))
def test_head_and_code_stand_on_one_page_however_long_a_form_is(lines: int, paper: Paper) -> None:
    pdf = draw_infringement_form(a_form(ruling_reasons="Line.\n" * lines), paper)
    pages = read_pages(pdf)
    (place,) = (number for number, page in enumerate(pages, 1) if "Record head" in page)
    assert read_codes(pdf, place) == [NOTE]

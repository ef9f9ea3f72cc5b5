"""The result on paper: all lines, all notes, over as many pages as they need."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.paper import Paper
from app.forms.result_sheet import draw_result_sheet
from tests.forms.builders import a_line, a_result
from tests.forms.pdf_reading import count_pages, list_fonts, read_info, read_pages, read_text

both_papers = pytest.mark.parametrize("paper", list(Paper))


@both_papers
def test_an_ordinary_result_fits_on_one_page_and_says_everything(paper: Paper) -> None:
    sheet = a_result()
    pdf = draw_result_sheet(sheet, paper)
    text = read_text(pdf)
    assert count_pages(pdf) == 1
    values = [sheet.meet, sheet.place, sheet.date, sheet.time_zone, sheet.event, sheet.round]
    values += [sheet.heat, sheet.supersedes, sheet.announced_at, sheet.announced_by, sheet.digest]
    values += [sheet.head.short, *sheet.remarks, *sheet.windows]
    values += [word for pair in sheet.abbreviations for word in pair]
    assert [word for value in values for word in value.split() if word not in text] == []


def test_a_line_of_the_result_reads_from_place_to_note() -> None:
    line = a_line(4, place="", time="43.20", annotation="DQ TR24.7")
    text = read_text(draw_result_sheet(a_result(lines=(line,)), Paper.A4))
    assert "4 404 Invented Team 4 Invented Club 4 43.20 DQ TR24.7" in text


def test_a_superseded_sheet_says_so_above_the_result() -> None:
    sheet = a_result(superseded="Superseded by announcement 3, made 14:20:00 CEST.")
    text = read_text(draw_result_sheet(sheet, Paper.A4))
    assert text.index(sheet.superseded) < text.index("place lane bib team")


@pytest.mark.parametrize(
    ("number", "is_amended", "title"),
    [
        (1, False, "Result"),
        (2, True, "Amended result"),
        (2, False, "Result, announced again"),
    ],
)
def test_the_title_says_whether_the_result_was_amended_or_announced_again(
    number: int, is_amended: bool, title: str
) -> None:
    sheet = a_result(number=number, is_amended=is_amended, supersedes="")
    text = read_text(draw_result_sheet(sheet, Paper.A4))
    printed = f"Sealed: {sheet.printed_at}"
    assert text.splitlines()[:3] == [f"Announcement: {number}", printed, title]


@both_papers
def test_each_page_says_when_it_was_printed(paper: Paper) -> None:
    """What is pending or final, and whether a later announcement stands, is as of then."""
    lines = tuple(a_line(1, team=f"Team number {number}") for number in range(60))
    pages = read_pages(draw_result_sheet(a_result(lines=lines), paper))
    assert len(pages) > 1
    assert all("sealed 2026-06-13 14:13:05 CEST" in page for page in pages)


@both_papers
def test_a_long_name_of_the_time_zone_pushes_nothing_off_the_sheet(paper: Paper) -> None:
    printed = "2026-06-13 14:13:05 -03 (America/Argentina/Buenos_Aires)"
    (page,) = read_pages(draw_result_sheet(a_result(printed_at=printed), paper))
    assert page.index("Supersedes: ") < page.index(f"Sealed: {printed}") < page.index("event")


@both_papers
def test_an_affiliation_of_ordinary_length_takes_one_line(paper: Paper) -> None:
    sheet = a_result(lines=(a_line(1, affiliation="Gullhaven Breakwater Club"),))
    assert "Gullhaven Breakwater Club" in read_text(draw_result_sheet(sheet, paper)).replace(
        "-", ""
    )


def test_who_qualified_stands_between_time_and_note_and_points_at_the_end() -> None:
    line = a_line(4, time="43.20", qualification="qR", annotation="L TR17.3.1", points="6.5")
    text = read_text(draw_result_sheet(a_result(lines=(line,)), Paper.A4))
    assert "place lane bib team affiliation time Q / q note points" in text
    assert "4 4 404 Invented Team 4 Invented Club 4 43.20 qR L TR17.3.1 6.5" in text


@pytest.mark.parametrize(
    ("filled", "headings"),
    [
        ({}, "time note"),
        ({"qualification": "Q"}, "time Q / q note"),
        ({"points": "8"}, "time note points"),
    ],
)
def test_a_column_that_no_line_fills_is_left_out(filled: dict[str, str], headings: str) -> None:
    sheet = a_result(lines=(a_line(1), a_line(2, **filled)))
    lines = read_text(draw_result_sheet(sheet, Paper.A4)).splitlines()
    assert f"place lane bib team affiliation {headings}" in lines


@both_papers
@pytest.mark.parametrize("letters", ["Q", "q", "qR", "qJ", "qD"])
def test_letters_and_points_take_one_line_beside_an_ordinary_team(
    letters: str, paper: Paper
) -> None:
    # The letters of World Athletics CR25.4.
    line = a_line(1, qualification=letters, points="10.5", annotation="YC", time="3:41.205")
    text = read_text(draw_result_sheet(a_result(lines=(line,)), paper))
    assert f"1 1 401 Invented Team 1 Invented Club 1 3:41.205 {letters} YC 10.5" in text


@both_papers
def test_an_amended_result_says_who_qualified_why_it_was_amended_and_whether_it_is_final(
    paper: Paper,
) -> None:
    lines = tuple(a_line(lane, qualification="Q", points="8") for lane in range(1, 9))
    sheet = a_result(
        lines=lines,
        qualified_title="Qualified for the final",
        qualified=tuple(f"Q Team {place}, heat 1, place {place}" for place in range(1, 9)),
        because=("Protest 2 of Team 4 was upheld by the referee at 15:02: set aside.",),
        time_corrected="Time of announcement corrected at 14:20:11 by T. Desk; typed as 14:21:31.",
        final_note="Not final yet: protests until 14:42:31.",
        remarks=("Changed: Team 4, lane 4: place 3, 42.35; before: DQ TR24.7.",),
    )
    (page,) = read_pages(draw_result_sheet(sheet, paper))
    in_order = (
        "Amended result",
        f"{sheet.announced_at} {sheet.time_corrected}",
        "place lane bib team",
        f"Qualified for the final {' '.join(sheet.qualified)}",
        f"Protests and appeals {sheet.windows[0]} {sheet.final_note}",
        f"Why it was amended {sheet.because[0]}",
        f"Remarks {sheet.remarks[0]}",
    )
    told = [page.index(words) for words in in_order]
    assert told == sorted(told)


def test_a_first_result_says_what_was_decided_before_it_and_not_that_it_was_amended() -> None:
    because = ("Appeal 1 of Team 4 was upheld by the jury at 15:02. Team 4 runs again.",)
    sheet = a_result(number=1, is_amended=False, because=because)
    (page,) = read_pages(draw_result_sheet(sheet, Paper.A4))
    assert f"What was decided before {because[0]}" in page
    assert "amended" not in page.lower()


def test_a_result_without_windows_says_whether_it_is_final() -> None:
    sheet = a_result(windows=(), final_note="Final since 15:32:10.")
    (page,) = read_pages(draw_result_sheet(sheet, Paper.A4))
    assert "Protests and appeals Final since 15:32:10." in page


def test_a_result_that_was_only_announced_again_is_not_called_amended() -> None:
    sheet = a_result(is_amended=False, because=("The first one named a wrong bib.",))
    (page,) = read_pages(draw_result_sheet(sheet, Paper.A4))
    assert "Why it was announced again The first one named a wrong bib." in page


@both_papers
def test_the_heading_of_the_table_comes_again_on_each_page(paper: Paper) -> None:
    lines = tuple(a_line(1, team=f"Team number {number}") for number in range(120))
    pdf = draw_result_sheet(a_result(lines=lines), paper)
    text = read_text(pdf)
    pages = count_pages(pdf)
    assert pages > 2
    assert text.count("place lane bib team affiliation time note") >= pages - 1
    assert [number for number in range(120) if f"Team number {number}" not in text] == []


def test_a_row_taller_than_a_page_is_not_cut() -> None:
    team = " ".join(f"word{number}" for number in range(3000))
    pdf = draw_result_sheet(a_result(lines=(a_line(1, team=team), a_line(2))), Paper.LETTER)
    found = set(read_text(pdf).split())
    assert [word for word in team.split() if word not in found] == []
    assert count_pages(pdf) > 5


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=120), st.sampled_from(list(Paper)))
def test_no_text_makes_the_result_fail(text: str, paper: Paper) -> None:
    line = a_line(1, place=text, lane=text, bib=text, team=text, time=text, annotation=text)
    line = replace(line, qualification=text, points=text)
    sheet = a_result(lines=(line,), remarks=(text,), windows=(text,), event=text, heat=text)
    sheet = replace(sheet, qualified=(text,), qualified_title=text, because=(text,))
    sheet = replace(sheet, time_corrected=text, final_note=text)
    assert count_pages(draw_result_sheet(sheet, paper)) >= 1


def test_the_same_result_gives_the_same_bytes() -> None:
    assert draw_result_sheet(a_result(), Paper.A4) == draw_result_sheet(a_result(), Paper.A4)


def test_title_and_fonts_of_the_result() -> None:
    pdf = draw_result_sheet(a_result(), Paper.A4)
    assert read_info(pdf)["Title"] == "Result – 4x100 m relay women – heat 2"
    assert all(font[3:6] == ["yes", "yes", "yes"] for font in list_fonts(pdf))


def test_a_letter_without_a_glyph_is_named_with_its_lane() -> None:
    sheet = a_result(lines=(a_line(1, lane="6", team="湖 Runners"),))
    text = read_text(draw_result_sheet(sheet, Paper.A4))
    assert "Could not be printed: U+6E56 in team in lane 6" in text

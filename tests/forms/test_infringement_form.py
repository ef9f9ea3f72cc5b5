"""The form says everything it was given, on one page where it can, and always the same way."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.infringement_form import InfringementForm, InkField, draw_infringement_form
from app.forms.paper import Paper
from tests.forms.builders import NAMES, a_form, a_mark, a_report, a_return, a_signature, a_zone
from tests.forms.pdf_reading import count_pages, list_fonts, read_info, read_pages, read_text

both_papers = pytest.mark.parametrize("paper", list(Paper))
PLAIN_TEXTS = [field.name for field in fields(InfringementForm) if field.type is str]

# Latin, Greek and Cyrillic letters, figures and every mark that some format gives a meaning.
letters = st.sampled_from("abWgÅßŁőğñΩλйЖ0189<>&;/=\"'@%#\\{}[]()$~^|*+-.,:!?–—“”…€")
words = st.text(letters, min_size=1, max_size=8)
sentences = st.lists(words, min_size=1, max_size=30).map(" ".join)


def squeeze(text: str) -> str:
    """A text without its spaces and line ends."""
    return re.sub(r"\s+", "", text)


@both_papers
def test_an_ordinary_case_fits_on_one_page(paper: Paper) -> None:
    assert count_pages(draw_infringement_form(a_form(), paper)) == 1


@both_papers
def test_a_case_with_three_long_reports_still_fits_on_one_page(paper: Paper) -> None:
    report = a_report(words="The receiver looked back twice and slowed down. " * 4)
    form = a_form(reports=(report, report, report))
    assert count_pages(draw_infringement_form(form, paper)) == 1


@both_papers
def test_the_sheet_has_the_size_of_its_standard(paper: Paper) -> None:
    # ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: size A is 8.5 in x 11 in.
    inches = {Paper.A4: (210 / 25.4, 297 / 25.4), Paper.LETTER: (8.5, 11.0)}[paper]
    size = read_info(draw_infringement_form(a_form(), paper))["Page size"]
    points = [float(number) for number in re.findall(r"[\d.]+(?= |$)", size)[:2]]
    assert points == pytest.approx([inch * 72 for inch in inches], abs=0.1)


@both_papers
def test_every_field_of_an_ordinary_case_can_be_read(paper: Paper) -> None:
    form = a_form(reports=(a_report(marks_note="reported for a heat that was not running"),))
    text = read_text(draw_infringement_form(form, paper))
    report, signature = form.reports[0], form.signatures[0]
    values = [getattr(form, name) for name in PLAIN_TEXTS]
    values += [getattr(report, field.name) for field in fields(report) if field.type is str]
    values += [getattr(signature, field.name) for field in fields(signature)]
    values += [text for field in form.ink_fields for text in (field.role, field.name)]
    values += [mark.note for zone in form.zones for mark in zone.marks]
    values.append(form.head.short)
    missing = [word for value in values for word in value.split() if word not in text.split()]
    # Words at the end of a label's value may carry the comma that parts it from the next.
    assert [word for word in missing if word not in text] == []


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_every_word_of_every_field_can_be_found_again(data: st.DataObject) -> None:
    texts = {name: data.draw(sentences, name) for name in PLAIN_TEXTS}
    texts["bib"] = data.draw(st.text(letters, min_size=1, max_size=3), "bib")
    report = a_report(words=data.draw(sentences), post=data.draw(sentences))
    field = InkField(data.draw(sentences), data.draw(sentences))
    form = replace(a_form(**texts), reports=(report,), ink_fields=(field,))
    paper = data.draw(st.sampled_from(list(Paper)))
    found = read_text(draw_infringement_form(form, paper))
    values = [*texts.values(), report.words, report.post, field.role, field.name]
    assert [word for value in values for word in value.split() if word not in found] == []


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=400), st.text(max_size=80), st.sampled_from(list(Paper)))
def test_no_text_makes_the_form_fail(long: str, short: str, paper: Paper) -> None:
    report = a_report(words=long, observer=short, observed=long, finding=short)
    mark = a_mark(label=short, note=long)
    form = replace(
        a_form(team=short, lane=short, case_id=short, ruling_reasons=long, effect=short),
        reports=(report,),
        zones=(a_zone(mark),),
        signatures=(a_signature(name=short, digest=short),),
        ink_fields=(InkField(short, long), InkField(long)),
    )
    assert count_pages(draw_infringement_form(form, paper)) >= 1


@pytest.mark.parametrize("unit", ["W", "word ", "ب", "ท", "湖", "e\u0301", "\n", "<br/>", "\u0301"])
@both_papers
def test_twenty_thousand_characters_flow_over_pages_and_none_is_lost(
    unit: str, paper: Paper
) -> None:
    long = unit * (20_000 // len(unit))
    form = a_form(ruling_reasons=f"begins {long} ends")
    pdf = draw_infringement_form(form, paper)
    pages = count_pages(pdf)
    assert pages > 1
    text = squeeze(read_text(pdf))
    visible = [character for character in set(unit) if not character.isspace()]
    for character in visible:
        assert text.count(character) >= long.count(character)
    for number in range(1, pages + 1):
        assert f"page{number}of{pages}" in text
    assert text.count(form.case_id) >= pages
    assert "begins" in text
    assert "ends" in text


def test_every_field_can_be_twenty_thousand_characters_long() -> None:
    long = "unbroken" * 2_500
    for name in PLAIN_TEXTS:
        text = squeeze(read_text(draw_infringement_form(a_form(**{name: long}), Paper.LETTER)))
        assert text.count("k") >= 2_500, name


@both_papers
def test_the_foot_of_every_page_names_what_it_belongs_to(paper: Paper) -> None:
    pdf = draw_infringement_form(a_form(ruling_reasons="One line of many.\n" * 200), paper)
    pages = read_pages(pdf)
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        foot = page[page.index("Findings are suggestions") :]
        count, whose, which = (
            foot.index(f"page {number} of {len(pages)}"),
            foot.index("4x100 m relay women · first round · heat 2 · lane 4 · Harbour Runners A"),
            foot.index("case 0198c2f4-7a31-7c55-9d02-3f1e5b7a9c10 · sealed "),
        )
        assert count < whose < which


@pytest.mark.parametrize("name", [NAMES["Arabic"], NAMES["Devanagari"], "W" * 300])
def test_a_long_event_or_any_script_leaves_heat_lane_and_team_in_the_foot(name: str) -> None:
    form = a_form(event=name, team=f"{name[:20]} A", heat="17", lane="9")
    (page,) = read_pages(draw_infringement_form(form, Paper.LETTER))
    foot = squeeze(page[page.index("Findings are suggestions") :])
    for part in (squeeze(name)[:60], "heat17", "lane9", squeeze(form.team)):
        assert set(part) <= set(foot), part
    assert "heat17·lane9·" in foot


def test_each_line_for_ink_has_the_printed_name_below_it() -> None:
    text = " ".join(read_text(draw_infringement_form(a_form(), Paper.A4)).split())
    for words in (
        "J. Example · Report 1 date, time R. Sample · Report 2 date, time",
        "A. Specimen · Head official date, time",
        "Team, for receipt name signature date, time",
    ):
        assert words in text


@pytest.mark.parametrize("name", [NAMES["Arabic"], NAMES["Devanagari"]])
def test_a_name_in_any_script_stands_below_its_line_for_ink(name: str) -> None:
    fields = (InkField("Report 1", name),)
    bare = squeeze(read_text(draw_infringement_form(a_form(ink_fields=()), Paper.A4)))
    named = squeeze(read_text(draw_infringement_form(a_form(ink_fields=fields), Paper.A4)))
    letters_of = {letter: named.count(letter) - bare.count(letter) for letter in squeeze(name)}
    assert letters_of == {letter: squeeze(name).count(letter) for letter in squeeze(name)}


LONG_CASES = [
    pytest.param({"ruling_reasons": "One line of many.\n" * lines}, id=f"{lines} lines")
    for lines in (20, 26, 30, 34, 40, 60, 100)
]


@both_papers
@pytest.mark.parametrize("long", LONG_CASES)
def test_whoever_signs_in_ink_has_the_ruling_on_the_same_page(
    long: dict[str, str], paper: Paper
) -> None:
    pages = read_pages(draw_infringement_form(a_form(**long), paper))
    (signed,) = (page for page in pages if "Signatures in ink" in page)
    for words in (
        "Confirmed",
        "DQ TR24.7",
        "ruled: 14:11:40",
        "by: A. Specimen",
        "SHA-256 of the statement:",
    ):
        assert words in signed, words
    is_repeated = "In full, with its reasons, on page 1." in signed
    assert is_repeated == (signed != pages[0])


def test_a_replaced_ruling_says_so_where_it_is_signed_too() -> None:
    form = a_form(later_ruling="This ruling was reconsidered.", ruling_reasons="Line.\n" * 100)
    pages = read_pages(draw_infringement_form(form, Paper.A4))
    assert len(pages) > 1
    assert "This ruling was reconsidered." in pages[0]
    assert "This ruling was reconsidered." in pages[-1]


def test_text_is_never_read_as_markup() -> None:
    words = "<b>not bold</b> &amp; &lt;tag&gt; <para> </font> %s {0}"
    text = read_text(draw_infringement_form(a_form(reports=(a_report(words=words),)), Paper.A4))
    assert words in text


@both_papers
def test_the_same_form_gives_the_same_bytes(paper: Paper) -> None:
    first = draw_infringement_form(a_form(), paper)
    draw_infringement_form(a_form(team="湖 Ωmega", ruling_reasons="Ελληνικά بدر"), paper)
    assert draw_infringement_form(a_form(), paper) == first


def test_forms_drawn_in_several_threads_are_those_drawn_one_by_one() -> None:
    forms = [a_form(team=f"Team {number} Ωλ प्रिया", lane=str(number)) for number in range(1, 9)]
    alone = [draw_infringement_form(form, Paper.A4) for form in forms]
    with ThreadPoolExecutor(max_workers=4) as pool:
        together = list(pool.map(draw_infringement_form, forms * 4, [Paper.A4] * 32))
    assert together == alone * 4


def test_all_fonts_are_embedded_and_can_be_read_back() -> None:
    # pdffonts' columns: embedded, subset, with a map to Unicode.
    fonts = list_fonts(draw_infringement_form(a_form(team="Ωλ प्रिया بدر"), Paper.A4))
    assert len(fonts) >= 3
    for name, kind, _, embedded, subset, readable, *_ in fonts:
        assert (kind, embedded, subset, readable) == ("CID TrueType", "yes", "yes", "yes"), name


def test_the_file_says_what_it_is_and_in_which_language() -> None:
    pdf = draw_infringement_form(a_form(), Paper.A4)
    info = read_info(pdf)
    assert info["Title"] == "Infringement form – 4x100 m relay women – lane 4"
    assert a_form().case_id in info["Subject"]
    assert b"/Lang (en-GB)" in pdf


def test_the_caution_names_the_edition_that_judged() -> None:
    text = read_text(draw_infringement_form(a_form(edition="an older edition"), Paper.A4))
    words = (
        "Findings are suggestions by the edition “an older edition”. The appointed officials "
        "decide under the current edition of their own rule book."
    )
    assert words in " ".join(text.split())


@both_papers
def test_a_report_says_which_pictures_belong_to_it_and_the_form_stays_on_one_page(
    paper: Paper,
) -> None:
    pictures = f"20; SHA-256 begins with {', '.join(['9f86d081884c'] * 20)}"
    reports = (a_report(pictures="1; SHA-256 begins with 60303ae22b99"), a_report())
    pdf = draw_infringement_form(a_form(reports=(*reports, a_report(pictures=pictures))), paper)
    assert count_pages(pdf) == 1
    told = " ".join(read_text(pdf).split())
    first = told.index("pictures: 1; SHA-256 begins with 60303ae22b99")
    assert told.index("1 J. Example") < first < told.index("2 J. Example")
    assert told.count("pictures: ") == 2
    assert told.count("9f86d081884c") == 20


def test_a_return_stands_with_its_report_whatever_script_its_question_is_in() -> None:
    asked = "كم كانت المسافة؟"
    returned = a_report(returns=(a_return(), a_return(asked=asked)))
    text = read_text(draw_infringement_form(a_form(reports=(returned, a_report())), Paper.A4))
    told = "asked: How far past the line? · written again 14:07:02"
    one_line = " ".join(text.split())
    assert one_line.index("1 J. Example") < one_line.index(told) < one_line.index("2 J. Example")
    assert set(asked) <= set(text)
    assert one_line.count("Returned: 14:05:40 · by: A. Specimen") == 2


def test_a_ruling_that_was_replaced_says_so_above_everything_it_ruled() -> None:
    form = a_form(later_ruling="This ruling was reconsidered.")
    text = read_text(draw_infringement_form(form, Paper.A4))
    assert text.index("This ruling was reconsidered.") < text.index("Confirmed")


def test_a_zone_in_which_nobody_gave_a_position_is_not_drawn() -> None:
    drawn = read_text(draw_infringement_form(a_form(zones=(a_zone(a_mark()),)), Paper.A4))
    left_out = read_text(draw_infringement_form(a_form(zones=(a_zone(),)), Paper.A4))
    assert "Zone of take-over 2, drawn to scale" in drawn
    assert "No zone is drawn for take-over 2: no report gives a position there." in left_out
    assert "drawn to scale" not in left_out


def numbered_marks(page: str) -> list[str]:
    """The numbers of the marks that are told on a page."""
    return re.findall(r"(\d+) sole possession", page)


@both_papers
@pytest.mark.parametrize("take_overs", [2, 3])
def test_each_take_over_concerned_has_its_zone_and_no_two_marks_share_a_number(
    take_overs: int, paper: Paper
) -> None:
    marks = (a_mark(), a_mark(28.2))
    zones = tuple(a_zone(*marks, name=f"take-over {one + 1}") for one in range(take_overs))
    pdf = draw_infringement_form(a_form(zones=zones), paper)
    for zone in zones:
        assert f"Zone of {zone.name}, drawn to scale" in read_text(pdf)
    found = [number for page in read_pages(pdf) for number in numbered_marks(page)]
    assert found == [str(number) for number in range(1, 2 * take_overs + 1)]


@both_papers
def test_a_case_at_two_take_overs_with_two_reports_fits_on_one_page(paper: Paper) -> None:
    zones = (a_zone(a_mark(), name="take-over 1"), a_zone(a_mark(), name="take-over 3"))
    assert count_pages(draw_infringement_form(a_form(zones=zones), paper)) == 1


@both_papers
def test_a_zone_stands_on_one_page_with_its_marks(paper: Paper) -> None:
    zones = tuple(a_zone(a_mark(), name=f"take-over {number}") for number in (1, 2, 3))
    for lines in range(1, 60, 4):
        form = a_form(zones=zones, ruling_reasons="One line of many.\n" * lines)
        pdf = draw_infringement_form(form, paper)
        for page in read_pages(pdf):
            assert page.count("drawn to scale") == len(numbered_marks(page)), lines


def test_what_is_not_drawn_is_told_with_its_reason() -> None:
    form = a_form(zone_note="The position in report 2 is not drawn, since it names no take-over.")
    assert form.zone_note in read_text(draw_infringement_form(form, Paper.A4))


def test_a_form_without_reports_and_signatures_says_so() -> None:
    form = a_form(zones=(), reports=(), signatures=(), ink_fields=())
    text = read_text(draw_infringement_form(form, Paper.A4))
    assert "drawn to scale" not in text
    assert "No report belongs to this case" in text
    assert "Nobody has signed on a device." in text

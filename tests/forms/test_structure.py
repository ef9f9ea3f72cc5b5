"""A sheet can be read aloud: others' readers find its title, headings, table and order in it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any

import pypdf
import pytest

from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.forms.remedy_paper import draw_remedy_paper
from app.forms.result_sheet import draw_result_sheet
from app.forms.seal import Sealer
from tests.forms.builders import NAMES, a_form, a_line, a_result
from tests.forms.pdf_reading import count_pages, read_info, run_tool
from tests.forms.remedy_builders import a_jury_decision, a_protest, a_section
from tests.forms.seal_builders import PAPERS, a_meets_key, an_attestation

both_papers = pytest.mark.parametrize("sheet", list(Paper))
all_kinds = pytest.mark.parametrize("kind", list(PAPERS))
LEAVES = ("H1", "H2", "P", "TH", "TD", "Figure")


def read_structure(pdf: bytes) -> list[tuple[str, str]]:
    """The elements that hold text, as poppler reads them: type and text, in order."""
    found: list[tuple[str, str]] = []
    for line in run_tool("pdfinfo", "-struct-text", "-", pdf=pdf).decode().splitlines():
        words = line.strip()
        if words.startswith('"') and words.endswith('"') and len(words) > 1:
            role, text = found.pop()
            found.append((role, text + words[1:-1]))
        elif (role := re.split(r"[ :]", words)[0]) in LEAVES:
            found.append((role, ""))
    return [(role, " ".join(text.split())) for role, text in found]


def texts_of(pdf: bytes, *roles: str) -> list[str]:
    """The texts of all elements of these types."""
    return [text for role, text in read_structure(pdf) if role in roles]


def is_in_order(told: str, parts: list[str]) -> bool:
    """Whether the parts stand in a text one after another."""
    start = 0
    for part in parts:
        start = told.find(part, start)
        if start < 0:
            return False
        start += len(part)
    return True


@both_papers
@all_kinds
def test_every_sheet_declares_its_title_its_language_and_that_it_is_tagged(
    kind: str, sheet: Paper
) -> None:
    pdf = PAPERS[kind](sheet)
    reader = pypdf.PdfReader(BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/Lang"] == "en-GB"
    assert bool(root["/MarkInfo"]["/Marked"])
    assert str(root["/ViewerPreferences"]["/DisplayDocTitle"]).lower() in {"true", "/true"}
    assert reader.metadata.title
    info = read_info(pdf)
    assert (info["Tagged"], info["Title"]) == ("yes", reader.metadata.title)
    assert all(page["/Tabs"] == "/S" for page in reader.pages)


def test_a_form_is_read_from_its_title_to_its_foot() -> None:
    form = a_form()
    told = read_structure(draw_infringement_form(form, Paper.A4))
    assert told[0] == ("H1", "Infringement form")
    parts = [
        f"Case: {form.case_id} Sealed: {form.printed_at}",
        "event 4x100 m relay women",
        "round first round",
        "lane 4",
        "team Harbour Runners A",
        "rule edition World Athletics, from 1 November 2025",
        "ruling Confirmed",
        "effect on the result DQ TR24.7",
        "infringement: pass completed outside the take-over zone",
        form.ruling_reasons,
        "Zone of take-over 2, drawn to scale",
        "1 sole possession 31.40 m",
        "Who saw it, and what was seen",
        "1 J. Example · take-over 1, end of the zone, lanes 3 and 4",
        f"In the observer's words: {form.reports[0].words}",
        "2 R. Sample",
        "Signed on a device",
        "Record head 412",
        "Signatures in ink",
        "Findings are suggestions by the edition",
        f"sealed {form.printed_at}",
    ]
    assert is_in_order(" ".join(text for _, text in told), parts)
    headings = [text for role, text in told if role == "H2"]
    assert headings == [
        "Zone of take-over 2, drawn to scale",
        "Who saw it, and what was seen",
        "Signed on a device",
        "Signatures in ink",
    ]


def test_a_paper_about_a_remedy_is_read_label_with_value() -> None:
    told = " ".join(text for _, text in read_structure(draw_remedy_paper(a_protest(), Paper.A4)))
    assert is_in_order(
        told,
        [
            "Protest protest 3 Sealed: ",
            "decision awaits the referee",
            "What the protest says about ruling 7: DQ TR24.7 asked for the place that was run",
            "– If upheld: Harbour Runners A in the final on time.",
        ],
    )


def rows_of(pdf: bytes) -> list[list[tuple[str, str]]]:
    """The rows of the tables in a file, by its structure alone."""
    rows: list[list[tuple[str, str]]] = []
    for line in run_tool("pdfinfo", "-struct-text", "-", pdf=pdf).decode().splitlines():
        words = line.strip()
        if words == "TR":
            rows.append([])
        elif words in {"TH:", "TD"}:
            rows[-1].append((words.rstrip(":"), ""))
        elif words.startswith('"') and rows and rows[-1] and line.startswith("        "):
            role, text = rows[-1].pop()
            rows[-1].append((role, (text + words[1:-1]).strip()))
    return rows


@both_papers
def test_a_result_is_a_table_whose_rows_have_a_cell_for_each_heading(sheet: Paper) -> None:
    pdf = draw_result_sheet(a_result(), sheet)
    head, *rows = rows_of(pdf)
    headings = ["place", "lane", "bib", "team", "affiliation", "time", "note"]
    assert head == [("TH", one) for one in headings]
    assert len(rows) == 8
    assert rows[0] == [
        ("TD", one) for one in ("1", "1", "401", "Invented Team 1", "Invented Club 1", "41.11", "")
    ]
    assert [text for _, text in rows[7]] == [
        *("", "8", "408", "Invented Team 8", "Invented Club 8", "", "DQ TR24.7")
    ]


@both_papers
def test_headings_and_feet_that_come_again_on_every_page_are_read_once(sheet: Paper) -> None:
    lines = tuple(a_line(1, team=f"Team number {number}") for number in range(80))
    pdf = draw_result_sheet(a_result(lines=lines), sheet)
    assert count_pages(pdf) > 1
    assert texts_of(pdf, "TH").count("affiliation") == 1
    assert len(rows_of(pdf)) == 81
    told = " ".join(text for _, text in read_structure(pdf))
    assert told.count("This sheet shows the announcement as it was recorded") == 1
    assert told.index("Team number 79") < told.index("This sheet shows")


@both_papers
def test_a_paragraph_that_goes_on_over_pages_is_one_paragraph(sheet: Paper) -> None:
    words = " ".join(f"word{number}" for number in range(4_000))
    paper = a_protest(sections=(a_section(paragraphs=(words,)),))
    pdf = draw_remedy_paper(paper, sheet)
    assert count_pages(pdf) > 2
    assert words in texts_of(pdf, "P")


@both_papers
def test_words_stay_apart_at_the_end_of_a_line_and_a_broken_word_stays_whole(sheet: Paper) -> None:
    long = "unbroken" * 60
    words = f"The incoming runner let go about a stride and a half after the end line. {long} end"
    pdf = draw_remedy_paper(a_protest(sections=(a_section(paragraphs=(words,)),)), sheet)
    assert words in texts_of(pdf, "P")


@pytest.mark.parametrize("script", ["Greek", "Cyrillic", "Armenian", "Georgian", "Hebrew"])
def test_a_name_in_any_script_is_in_the_structure_with_all_its_letters(script: str) -> None:
    name = NAMES[script]
    told = "".join(texts_of(draw_infringement_form(a_form(team=name), Paper.A4), "P"))
    letters = re.sub(r"\s", "", name)
    assert [one for one in letters if told.count(one) < letters.count(one)] == []


@pytest.mark.parametrize("script", ["Arabic", "Devanagari", "Khmer", "Thai"])
def test_what_follows_a_name_whose_letters_join_is_read_on(script: str) -> None:
    """Such a name is a span with its own text, which pdfinfo leaves out and others read."""
    words = f"before {NAMES[script]} after"
    pdf = draw_remedy_paper(a_protest(sections=(a_section(paragraphs=(words,)),)), Paper.A4)
    (told,) = (text for text in texts_of(pdf, "P") if text.startswith("before"))
    assert told.endswith("after")


@both_papers
@all_kinds
def test_drawings_and_codes_say_in_words_what_they_show(kind: str, sheet: Paper) -> None:
    alts = [one["/Alt"] for one in elements_of(PAPERS[kind](sheet)) if one["/S"] == "/Figure"]
    assert "QR code: the signed head of the record." in alts
    if kind == "infringement form":
        assert "Zone of take-over 2, drawn to scale. Its marks are listed below it." in alts
    assert all(alts)


def elements_of(pdf: bytes) -> list[Any]:
    """All elements of a file's structure, as another library reads it."""
    root = pypdf.PdfReader(BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]
    return list(_walk(root["/K"].get_object()))


def _walk(element: Any) -> Iterator[Any]:
    yield element
    for kid in element["/K"]:
        one = kid.get_object()
        if isinstance(one, dict) and one.get("/Type") == "/StructElem":
            assert one["/P"].get_object() == element
            yield from _walk(one)


@both_papers
@all_kinds
def test_every_mark_on_a_page_belongs_to_the_element_that_says_so(kind: str, sheet: Paper) -> None:
    """ISO 32000-1, 14.7.4.4: the parent tree leads from each mark to its element."""
    pdf = PAPERS[kind](sheet)
    reader = pypdf.PdfReader(BytesIO(pdf))
    numbers = reader.trailer["/Root"]["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    for place, page in enumerate(reader.pages):
        assert numbers[2 * place] == page["/StructParents"] == place
        parents = [one.get_object() for one in numbers[2 * place + 1]]
        marks = [int(one) for one in re.findall(rb"/MCID (\d+)", page.get_contents().get_data())]
        assert marks == list(range(len(parents)))
        for mark, element in enumerate(parents):
            assert (place, mark) in _places(reader, element)


def _places(reader: pypdf.PdfReader, element: Any) -> list[tuple[int, int]]:
    places = []
    for kid in element["/K"]:
        if isinstance(kid, int):
            places.append((reader.get_page_number(_page(reader, element["/Pg"])), int(kid)))
        else:
            one = kid.get_object()
            places.append((reader.get_page_number(_page(reader, one["/Pg"])), int(one["/MCID"])))
    return places


def _page(reader: pypdf.PdfReader, found: Any) -> Any:
    return next(page for page in reader.pages if page == found.get_object())


@both_papers
@all_kinds
def test_all_that_is_drawn_is_either_part_of_an_element_or_decoration(
    kind: str, sheet: Paper
) -> None:
    for page in pypdf.PdfReader(BytesIO(PAPERS[kind](sheet))).pages:
        depth = 0
        code = page.get_contents().get_data().decode("latin-1")
        for operator in re.findall(r"(?<=[\s\]>])(BDC|BMC|EMC|TJ|S|f|B|b|n)(?=\s)", code):
            if operator in {"BDC", "BMC"}:
                depth += 1
            elif operator == "EMC":
                depth -= 1
            else:
                assert depth > 0, operator
        assert depth == 0


def test_a_sealed_paper_is_read_aloud_like_the_unsealed_one() -> None:
    pdf = draw_remedy_paper(a_jury_decision(), Paper.A4)
    sealed = Sealer(a_meets_key()).seal(pdf, an_attestation()).content
    assert read_structure(sealed) == read_structure(pdf)
    assert read_info(sealed)["Tagged"] == "yes"

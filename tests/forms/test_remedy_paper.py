"""Protests, appeals and their decisions on paper: all that was given, and what is signed."""

import re
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from itertools import groupby
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.painting import SetText
from app.forms.paper import Paper
from app.forms.remedy_paper import (
    InkField,
    PrintedHead,
    RemedyPaper,
    Section,
    _plan,
    draw_remedy_paper,
)
from app.forms.typesetting import Line
from tests.forms.builders import NAMES, a_signature
from tests.forms.pdf_reading import (
    count_pages,
    list_fonts,
    read_info,
    read_pages,
    read_text,
    take_picture,
)
from tests.forms.remedy_builders import (
    a_jury_decision,
    a_protest,
    a_referee_decision,
    a_section,
    an_appeal,
)

Build = Callable[..., RemedyPaper]

both_papers = pytest.mark.parametrize("sheet", list(Paper))
all_four = pytest.mark.parametrize(
    "build", [a_protest, a_referee_decision, an_appeal, a_jury_decision]
)
PLAIN_TEXTS = [field.name for field in fields(RemedyPaper) if field.type is str]
LONG = "One line of many.\n"

# Latin, Greek and Cyrillic letters, figures and every mark that some format gives a meaning.
letters = st.sampled_from("abWgÅßŁőğñΩλйЖ0189<>&;/=\"'@%#\\{}[]()$~^|*+-.,:!?–—“”…€")
words = st.text(letters, min_size=1, max_size=8)
sentences = st.lists(words, min_size=1, max_size=30).map(" ".join)
sections = st.builds(
    Section,
    title=sentences,
    facts=st.lists(st.tuples(words, sentences), max_size=3).map(tuple),
    paragraphs=st.lists(sentences, max_size=3).map(tuple),
    items=st.lists(sentences, max_size=3).map(tuple),
)


def squeeze(text: str) -> str:
    """A text without its spaces and line ends."""
    return re.sub(r"\s+", "", text)


def values_of(value: Any) -> Iterator[str]:
    """All texts in a paper, however deep they lie."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, PrintedHead):
        yield value.short
    elif isinstance(value, tuple):
        for part in value:
            yield from values_of(part)
    else:
        for field in fields(value):
            yield from values_of(getattr(value, field.name))


def words_missing(paper: RemedyPaper, text: str) -> list[str]:
    """The words of a paper that its print does not show."""
    return [word for value in values_of(paper) for word in value.split() if word not in text]


@both_papers
@all_four
def test_an_ordinary_paper_fits_on_one_page_and_says_everything(build: Build, sheet: Paper) -> None:
    pdf = draw_remedy_paper(build(), sheet)
    assert count_pages(pdf) == 1
    assert words_missing(build(), read_text(pdf)) == []


@both_papers
def test_a_decision_by_a_panel_of_five_fits_on_one_page(sheet: Paper) -> None:
    names = [f"Member {number}" for number in range(1, 6)]
    paper = a_jury_decision(
        signatures=tuple(a_signature(name=name) for name in names),
        ink_fields=(*(InkField("Jury", name) for name in names), InkField("Team, for receipt")),
    )
    assert count_pages(draw_remedy_paper(paper, sheet)) == 1


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_every_word_of_every_field_can_be_found_again(data: st.DataObject) -> None:
    texts = {name: data.draw(sentences, name) for name in PLAIN_TEXTS}
    texts["bib"] = data.draw(st.text(letters, min_size=1, max_size=3), "bib")
    paper = replace(
        a_jury_decision(**texts),
        grounds=data.draw(st.lists(st.tuples(words, sentences), max_size=3).map(tuple)),
        marks=data.draw(st.lists(sentences, max_size=2).map(tuple)),
        sections=data.draw(st.lists(sections, max_size=4).map(tuple)),
    )
    text = read_text(draw_remedy_paper(paper, data.draw(st.sampled_from(list(Paper)))))
    assert words_missing(paper, text) == []


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=400), st.text(max_size=80), st.sampled_from(list(Paper)))
def test_no_text_makes_the_paper_fail(long: str, short: str, sheet: Paper) -> None:
    paper = a_jury_decision(
        number=short,
        verdict=short,
        awaits=short,
        effect=long,
        grounds=((short, long),),
        reasons=long,
        standing_note=short,
        marks=(short, long),
        sections=(Section(short, ((short, long), (long, short)), (long, short), (short, long)),),
        signatures=(a_signature(name=short, digest=short),),
        ink_fields=(InkField(short, long), InkField(long)),
    )
    assert count_pages(draw_remedy_paper(paper, sheet)) >= 1


def test_every_field_can_be_twenty_thousand_characters_long() -> None:
    long = "unbroken" * 2_500
    for name in PLAIN_TEXTS:
        text = squeeze(read_text(draw_remedy_paper(a_protest(**{name: long}), Paper.LETTER)))
        assert text.count("k") >= 2_500, name


@pytest.mark.parametrize("part", ["title", "facts", "paragraphs", "items"])
def test_every_part_of_a_section_can_be_twenty_thousand_characters_long(part: str) -> None:
    long = "unbroken" * 2_500
    given_as: dict[str, Any] = {"title": long, "facts": ((long, long),)}
    section = a_section(**{part: given_as.get(part, (long,))})
    text = squeeze(read_text(draw_remedy_paper(a_protest(sections=(section,)), Paper.A4)))
    assert text.count("k") >= 2_500


@pytest.mark.parametrize("unit", ["W", "word ", "ب", "ท", "湖", "e\u0301", "\n", "<br/>", "\u0301"])
@both_papers
def test_twenty_thousand_characters_that_a_team_wrote_flow_over_pages_and_none_is_lost(
    unit: str, sheet: Paper
) -> None:
    long = unit * (20_000 // len(unit))
    paper = a_protest(sections=(a_section(paragraphs=(f"begins {long} ends",)),))
    pdf = draw_remedy_paper(paper, sheet)
    text = squeeze(read_text(pdf))
    assert count_pages(pdf) > 1
    for character in set(squeeze(unit)):
        assert text.count(character) >= long.count(character)
    assert text.index("begins") < text.index("ends")


@both_papers
def test_fifty_sections_flow_over_pages_and_none_is_lost(sheet: Paper) -> None:
    many = tuple(a_section(title=f"Part {number}, of fifty") for number in range(50))
    pages = read_pages(draw_remedy_paper(a_protest(sections=many), sheet))
    text = " ".join(pages)
    assert [number for number in range(50) if f"Part {number}, of fifty" not in text] == []
    assert text.count("about ruling 7: DQ TR24.7 asked for the place that was run") == 50
    assert text.count("– If upheld: Harbour Runners A in the final on time.") == 50


def test_a_section_reads_from_its_facts_to_its_list() -> None:
    text = read_text(draw_remedy_paper(a_protest(sections=(a_section(),)), Paper.A4))
    told = (
        "What the protest says about ruling 7: DQ TR24.7 asked for the place that was run The "
        "baton was taken before the end line; our own pictures show it. – If upheld: Harbour "
        "Runners A in the final on time."
    )
    assert told in " ".join(text.split())


@both_papers
@all_four
def test_the_foot_of_every_page_names_what_it_belongs_to_and_who_decides(
    build: Build, sheet: Paper
) -> None:
    paper = build(sections=(a_section(paragraphs=(LONG * 200,)),))
    pages = read_pages(draw_remedy_paper(paper, sheet))
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        foot = page[page.index("Windows and consequences are worked out") :]
        assert foot.endswith(
            "by the edition “World Athletics, from 1 November 2025”. The appointed officials "
            f"decide under the current edition of their own rule book. page {number} of "
            f"{len(pages)} 4x100 m relay women · first round · heat 2 · lane 4 · Harbour Runners A "
            f"{paper.title} · {paper.number} · sealed {paper.printed_at}"
        )


@all_four
def test_the_number_by_which_people_call_it_stands_beside_the_title(build: Build) -> None:
    paper = build()
    lines = read_text(draw_remedy_paper(paper, Paper.A4)).splitlines()
    assert lines[:3] == [paper.number, f"Sealed: {paper.printed_at}", paper.title]


def test_a_number_too_long_to_stand_beside_the_title_comes_below_it() -> None:
    long = "protest 3 together with " * 6
    (page,) = read_pages(draw_remedy_paper(a_protest(number=long), Paper.A4))
    assert page.startswith(f"Protest {long}Sealed: ")


def test_verdict_and_effect_stand_side_by_side_on_one_line() -> None:
    lines = read_text(draw_remedy_paper(a_jury_decision(), Paper.A4)).splitlines()
    assert "upheld disqualification set aside" in lines


def test_a_decision_without_an_effect_says_nothing_about_one() -> None:
    text = read_text(draw_remedy_paper(a_referee_decision(effect=""), Paper.A4))
    assert "rejected" in text
    assert "effect on the result" not in text


def test_what_is_awaited_stands_below_a_verdict_that_hands_it_on() -> None:
    paper = a_referee_decision(verdict="referred to the jury", awaits="awaits the jury", effect="")
    text = read_text(draw_remedy_paper(paper, Paper.A4))
    assert text.index("referred to the jury") < text.index("awaits the jury")


def test_a_paper_on_which_nothing_is_decided_or_awaited_has_no_frame() -> None:
    text = read_text(draw_remedy_paper(a_protest(awaits=""), Paper.A4))
    assert "decision" not in text


@pytest.mark.parametrize(
    "told",
    [
        {"effect": "lane 4 as run"},
        {"reasons": "lane 4 as run"},
        {"grounds": (("", "lane 4 as run"),)},
    ],
)
def test_what_was_said_before_anything_is_decided_is_not_lost(told: dict[str, Any]) -> None:
    (page,) = read_pages(draw_remedy_paper(a_protest(awaits="", **told), Paper.A4))
    assert "lane 4 as run" in page


def measure_lines(paper: RemedyPaper) -> list[int]:
    """The thickness, in dots, of each line over most of the width: rules, and sides of frames."""
    picture = take_picture(draw_remedy_paper(paper, Paper.A4), 1, 300)
    rows = (picture.row(y) for y in range(picture.height))
    is_dark = (sum(dot < 200 for dot in row) > picture.width * 0.8 for row in rows)
    return [len(list(rows)) for dark, rows in groupby(is_dark) if dark]


def test_decided_awaited_and_neither_differ_in_black_and_white() -> None:
    decided, awaited = a_protest(verdict="upheld", awaits=""), a_protest()
    assert len(measure_lines(a_protest(awaits=""))) == 2
    head, *thick, foot = measure_lines(decided)
    same_head, *thin, same_foot = measure_lines(awaited)
    assert (len(thick), len(thin)) == (2, 2)
    assert min(thick) > head >= max(thin)
    assert (head, foot) == (same_head, same_foot)


def test_that_it_no_longer_stands_and_that_it_was_late_come_before_the_decision() -> None:
    paper = a_jury_decision(
        standing_note="This decision no longer stands: reopened at 17:02.",
        marks=("LATE by 4 minutes 10 seconds", "FROM OUTSIDE the round"),
    )
    text = read_text(draw_remedy_paper(paper, Paper.A4))
    told = [text.index(words) for words in (paper.standing_note, *paper.marks, "upheld")]
    assert told == sorted(told)


LONG_PAPERS = [pytest.param(lines, id=f"{lines} lines") for lines in (10, 20, 26, 30, 40, 60, 100)]


@both_papers
@pytest.mark.parametrize("lines", LONG_PAPERS)
def test_whoever_signs_has_the_decision_on_the_same_page(lines: int, sheet: Paper) -> None:
    paper = a_jury_decision(reasons=LONG * lines, standing_note="It no longer stands.")
    pages = read_pages(draw_remedy_paper(paper, sheet))
    (signed,) = (page for page in pages if "Signatures in ink" in page)
    for told in ("appeal 1", "upheld", "disqualification set aside", "decided: 15:58:12"):
        assert told in signed, told
    for told in (
        "It no longer stands.",
        *paper.marks,
        "Signed on a device",
        "SHA-256 of the statement:",
    ):
        assert told in signed, told
    is_repeated = "In full, with its reasons, on page 1." in signed
    assert is_repeated == (signed != pages[0])


def test_whoever_signs_a_long_protest_has_its_number_and_what_it_awaits_on_the_same_page() -> None:
    paper = a_protest(sections=(a_section(paragraphs=(LONG * 100,)),))
    pages = read_pages(draw_remedy_paper(paper, Paper.A4))
    assert "protest 3 · awaits the referee In full from page 1." in pages[-1]
    assert "Signatures in ink" in pages[-1]


@both_papers
def test_the_signatures_of_seven_members_stand_on_one_page(sheet: Paper) -> None:
    names = [f"Member {number} of seven" for number in range(1, 8)]
    paper = a_jury_decision(
        signatures=tuple(a_signature(name=name) for name in names),
        ink_fields=tuple(InkField("Jury", name) for name in names),
    )
    (signed,) = (
        page for page in read_pages(draw_remedy_paper(paper, sheet)) if "Signatures in ink" in page
    )
    assert [name for name in names if signed.count(name) != 2] == []


@pytest.mark.parametrize("script", list(NAMES))
def test_a_name_in_any_script_keeps_its_letters_wherever_it_stands(script: str) -> None:
    name = NAMES[script]
    who = Section("Who", (("lodged by", name),), (name,), (name,))
    field = InkField("Team representative", name)
    bare = squeeze(read_text(draw_remedy_paper(a_protest(sections=(), ink_fields=()), Paper.A4)))
    paper = a_protest(sections=(who,), ink_fields=(field,))
    named = squeeze(read_text(draw_remedy_paper(paper, Paper.A4)))
    for letter in set(squeeze(name)):
        assert named.count(letter) - bare.count(letter) >= 4 * name.count(letter), letter
    lacking = script in {"Chinese", "Japanese", "Korean"}
    assert ("Couldnotbeprinted" in named) == lacking


def test_a_letter_without_a_glyph_is_named_with_the_part_it_stands_in() -> None:
    section = Section("Evidence", (("brought by", "湖 Runners"),), ("湖",))
    text = read_text(draw_remedy_paper(a_protest(sections=(section,)), Paper.A4))
    assert "Could not be printed: U+6E56 in brought by; U+6E56 in Evidence." in " ".join(
        text.split()
    )


def test_text_is_never_read_as_markup() -> None:
    told = "<b>not bold</b> &amp; &lt;tag&gt; <para> </font> %s {0}"
    paper = a_protest(reasons=told, sections=(Section(told, ((told, told),), (told,), (told,)),))
    assert read_text(draw_remedy_paper(paper, Paper.A4)).count("<para> </font> %s {0}") >= 4


@all_four
def test_the_same_paper_gives_the_same_bytes(build: Build) -> None:
    first = draw_remedy_paper(build(), Paper.A4)
    draw_remedy_paper(build(team="湖 Ωmega", reasons="Ελληνικά بدر"), Paper.A4)
    assert draw_remedy_paper(build(), Paper.A4) == first


def test_papers_drawn_in_several_threads_are_those_drawn_one_by_one() -> None:
    papers = [an_appeal(team=f"Team {number} Ωλ प्रिया") for number in range(1, 7)]
    alone = [draw_remedy_paper(paper, Paper.A4) for paper in papers]
    with ThreadPoolExecutor(max_workers=4) as pool:
        together = list(pool.map(draw_remedy_paper, papers * 2, [Paper.A4] * 12))
    assert together == alone * 2


def test_the_file_says_what_it_is_and_its_fonts_are_embedded() -> None:
    pdf = draw_remedy_paper(a_jury_decision(), Paper.A4)
    info = read_info(pdf)
    assert info["Title"] == "Decision of the jury – appeal 1 – 4x100 m relay women"
    assert info["Subject"] == "Harbour Runners A, Lakeside Invented Games, Saturday 13 June 2026"
    assert all(font[3:6] == ["yes", "yes", "yes"] for font in list_fonts(pdf))


@both_papers
def test_a_sentence_that_begins_with_a_name_from_the_right_is_read_from_the_left(
    sheet: Paper,
) -> None:
    """As UAX #9, 2.4 has it: the name is isolated, and the English around it stays in order."""
    words = "مرسى النورس: 42.35 and place 3 instead of 42.53."
    plan = _plan(a_protest(sections=(a_section(items=(words,)),)), sheet, 1.0)
    (line,) = (
        shape.line
        for page in plan.pages
        for shape in page
        if isinstance(shape, SetText) and "instead" in _letters(shape.line)
    )
    assert not line.from_right
    assert _letters(line).endswith(": 42.35 and place 3 instead of 42.53.")


def _letters(line: Line) -> str:
    return "".join(cluster.text for run in line.runs for cluster in run.clusters)

"""Names in any script print with their letters, or the form names what it could not print."""

import unicodedata
from dataclasses import dataclass

import bidi  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.fonts import Weight, open_typefaces
from app.forms.infringement_form import draw_infringement_form
from app.forms.paper import Paper
from app.forms.reading_order import find_levels, order_for_the_eye, part_names
from app.forms.script_text import split_letters, write_text
from tests.forms.builders import NAMES, a_form, a_report
from tests.forms.pdf_reading import read_text


def list_lacking(name: str) -> set[str]:
    """The characters of a name that are in no typeface's own character map."""
    known = {code for typeface in open_typefaces() for code in typeface.characters}
    return {letter for letter in name if ord(letter) not in known and letter != "\u200d"}


@pytest.mark.parametrize("script", list(NAMES))
def test_a_name_prints_with_its_letters_or_the_form_says_which_it_could_not(script: str) -> None:
    name = NAMES[script]
    text = read_text(draw_infringement_form(a_form(team=name), Paper.A4))
    for letter in list_lacking(name):
        assert f"U+{ord(letter):04X}" in text.partition("Could not be printed:")[2]
    if not list_lacking(name):
        assert "Could not be printed" not in text
    # The text behind the glyphs is the name itself, also where a box stands on the paper.
    assert [word for word in name.split() if word not in text] == []


def test_only_the_scripts_without_a_typeface_are_refused() -> None:
    refused = {script for script, name in NAMES.items() if list_lacking(name)}
    assert refused == {"Chinese", "Japanese", "Korean"}


@pytest.mark.parametrize("script", sorted(set(NAMES) - {"Chinese", "Japanese", "Korean"}))
def test_no_glyph_of_a_printable_name_is_the_box(script: str) -> None:
    for weight in Weight:
        name = NAMES[script]
        runs, missing = write_text(name, find_levels(name), weight)
        numbers = [g.number for run in runs for cluster in run.clusters for g in cluster.glyphs]
        assert missing == []
        assert 0 not in numbers


def test_a_note_says_in_which_fields_letters_are_missing() -> None:
    form = a_form(team="湖 A", reports=(a_report(words="湖 and 明"),))
    text = " ".join(read_text(draw_infringement_form(form, Paper.A4)).split())
    assert "Could not be printed: U+6E56 in team; U+6E56 U+660E in words of report 1." in text


def test_marks_that_turn_the_direction_are_left_out_and_named() -> None:
    # UAX #9, 2.2: U+202E RIGHT-TO-LEFT OVERRIDE could show "DQ" as "QD".
    text = read_text(draw_infringement_form(a_form(team="Harbour \u202eDQ\u202c A"), Paper.A4))
    assert "Harbour DQ A" in text
    assert "U+202E (turns the direction) U+202C (turns the direction) in team" in text


def test_control_characters_are_named_and_do_not_reach_the_text_layer() -> None:
    text = read_text(draw_infringement_form(a_form(team="Har\x07bour\x00"), Paper.A4))
    assert "U+0007 U+0000 in team" in text
    assert not {"\x07", "\x00"} & set(text)


def test_a_conjunct_is_one_shape_as_its_script_asks() -> None:
    # The Unicode Standard, 12.1 Devanagari: KA, virama, SSA form the conjunct kssa.
    runs, _ = write_text("क्ष", [0, 0, 0], Weight.REGULAR)
    assert [len(cluster.glyphs) for run in runs for cluster in run.clusters] == [1]


def test_arabic_letters_join() -> None:
    # The Unicode Standard, 9.2: beh has other shapes alone, at the beginning, within, at the end.
    runs, _ = write_text("ببب", [1, 1, 1], Weight.REGULAR)
    alone, _ = write_text("ب", [1], Weight.REGULAR)
    shapes = {
        tuple(glyph.number for glyph in cluster.glyphs)
        for run in [*runs, *alone]
        for cluster in run.clusters
    }
    assert len(shapes) == 4


def test_a_letter_takes_only_so_many_marks() -> None:
    letters = list(split_letters("e" + "\u0301" * 20))
    assert max(len(letter) for letter in letters) <= 9
    assert "".join(letters) == "e" + "\u0301" * 20


@dataclass(frozen=True, slots=True)
class Placed:
    """A character with its level."""

    character: str
    level: int


@settings(max_examples=300, deadline=None)
@given(st.text(st.sampled_from("abאבجد12۳-+,.:%()[]{} "), max_size=20), st.sampled_from("aאج"))
def test_reading_order_is_that_of_an_independent_implementation(text: str, last: str) -> None:
    # Reference: the Rust crate unicode-bidi (UAX #9), through python-bidi's other half.
    # The last character is a letter, since spaces at the end are taken off a line before.
    whole = text.strip() + last
    placed = [Placed(*pair) for pair in zip(whole, find_levels(whole), strict=True)]
    mine = "".join(item.character for item in order_for_the_eye(placed))
    assert mine == bidi.get_display(whole)


@pytest.mark.parametrize(
    ("sentence", "parts"),
    [
        ("مرسى النورس has lane 9.", ["مرسى النورس", " has lane 9."]),
        ("מפרץ הסנונית 2: 42.35, place 3.", ["מפרץ הסנונית", " 2: 42.35, place 3."]),
        ("Tern and Gull run again.", ["Tern and Gull run again."]),
        ("Tern, בית-ספר 12 ים, مرسى (Q).", ["Tern, ", "בית-ספר 12 ים", ", ", "مرسى", " (Q)."]),
    ],
)
def test_a_name_from_right_to_left_is_isolated_in_a_sentence(
    sentence: str, parts: list[str]
) -> None:
    # UAX #9, 2.4: an isolate does not move what stands around it.
    assert part_names(sentence) == parts


@given(st.text(st.sampled_from("abאבجد12۳-+,.:%()[]{} "), max_size=30))
def test_parting_names_loses_nothing(text: str) -> None:
    assert "".join(part_names(text)) == text


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=60))
def test_writing_loses_no_character(text: str) -> None:
    kept = "".join(c for c in text if unicodedata.bidirectional(c) not in BIDI_SWITCHES)
    if not kept:
        return
    runs, _ = write_text(kept, find_levels(kept), Weight.REGULAR)
    assert "".join(cluster.text for run in runs for cluster in run.clusters) == kept


# UAX #9, table 4: explicit embeddings, overrides and isolates.
BIDI_SWITCHES = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}

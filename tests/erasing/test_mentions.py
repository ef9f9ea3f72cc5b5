"""Whether a text names somebody: names in any case and spacing, and no parts of other words."""

from __future__ import annotations

import pytest

from app.erasing.mentions import Names, Phrases
from app.erasing.spelling import same

TOLD = [
    ("Bo Halyard", "I saw Bo Halyard drop it."),
    ("Bo Halyard", "BO  HALYARD’s hand"),
    ("Bo Halyard", "(bo-halyard)"),
    ("Bo Halyard", "Bo\nHalyard"),
    ("Bo", "Bo's baton"),
    ("Jana Vlnová", "Viděla jsem Jana Vlnovás předávku."),
    ("Zoë Ærø", "ZOE\u0308 ÆRØ"),
    ("Მარეხელი", "მარეხელის ხელი"),
    ("林", "我看见林先生。"),
    ("مارس", "رأيت مارس"),
    ("Lane 4", "by Lane 4 of it"),
    # Dotless and dotted i (Unicode Standard, 3.13, SpecialCasing.txt).
    ("Işık Kıyı", "IŞIK KIYI dropped it"),
    ("Işık Kıyı", "Işik Kiyi"),
    ("İlke Dalga", "ilke dalga"),
    ("İlke Dalga", "ILKE DALGA"),
    ("Ilke Dalga", "İLKE DALGA"),
    # Apostrophes and their kin, and none.
    ("Moira O'Reef", "Moira O’Reef"),
    ("Moira O’Reef", "MOIRA O'REEF's hand"),
    ("Moira O'Reef", "Moira OReef"),
    ("Moira OReef", "Moira O´Reef"),
    ("Moira OReef", "Moira Oʼreef"),
    ("Moira O'Reef", "Moira O Reef"),
    ("D'Arc", "d’arc"),
    ("Bo", "Bo’s baton"),
    ("Bo", "Boʼs baton"),
    # Hyphens and their kin, at the end of a line, and none.
    ("Bollard-Ness", "Bollard\u2010Ness"),
    ("Bollard-Ness", "Bollard\u2011Ness"),
    ("Bollard-Ness", "Bollard – Ness"),
    ("Bollard-Ness", "Bollardness"),
    ("Bollardness", "Bollard-Ness"),
    ("Bollardness", "Bollard-\nNess"),
    ("Bollard\u2212Ness", "Bollard Ness"),
    ("ボー・ハリヤード", "ボー ハリヤードさん"),
    # Underscores, as in names of files.
    ("Bo Halyard", "bo_halyard_2.jpg"),
    ("Bo_Halyard", "Bo Halyard"),
    ("Halyard", "_halyard_"),
    # Compatibility forms (Unicode Standard Annex 15).
    ("Bo Halyard", "Ｂｏ　Ｈａｌｙａｒｄ"),
    ("Bo Halyard", "𝐁𝐨 𝐇𝐚𝐥𝐲𝐚𝐫𝐝"),
    ("Fiona Flint", "ﬁona ﬂint"),
    ("Ⓑⓞ Halyard", "Bo Halyard"),
    ("Straße", "STRASSE"),
]
NOT_TOLD = [
    ("Bo Halyard", "Bo was there, Halyard too."),
    ("Bo", "The board was dark."),
    ("Li", "The line, little by little."),
    ("Ana", "Banana"),
    ("R-1", "R-17"),
    ("Bo Halyard", ""),
    ("Bo Halyard", "Limbo Halyard"),
    ("Theresa", "There sat nobody."),
    ("Cant", "I can’t say."),
    ("Wells", "We'll see."),
    ("चोपड़ा", "चोपड़े"),
    ("Bär", "The bar was dark."),
]


@pytest.mark.parametrize(("name", "text"), TOLD)
def test_a_name_is_found_however_it_is_written(name: str, text: str) -> None:
    assert Names([name]).are_in(text)
    assert Names(["Somebody Else", name, "A Third"]).are_in(text)


@pytest.mark.parametrize(("name", "text"), NOT_TOLD)
def test_other_words_are_no_name(name: str, text: str) -> None:
    assert not Names([name]).are_in(text)


def test_nobody_is_named_where_nobody_is_looked_for() -> None:
    assert not Names([])
    assert not Names(["", " "])
    assert not Names([]).are_in("Bo Halyard")


def test_the_parts_of_a_name_are_its_words_without_initials() -> None:
    parts = Names(["Bo J Halyard"]).parts()
    assert parts.are_in("Halyard it was.")
    assert not parts.are_in("J it was; Bo too.")


def test_a_name_without_the_marks_over_its_letters_is_found_in_part() -> None:
    """For people to look at: half of all names are words of another language."""
    parts = Names(["Zoë Bjørk Vlnová"]).parts()
    assert parts.are_in("Zoe was there.")
    assert parts.are_in("BJORK")
    assert parts.are_in("vlnova")
    assert not parts.are_in("Zo")
    assert Names(["चोपड़ा"]).parts().are_in("चोपड़ा")
    assert not Names(["चोपड़ा"]).parts().are_in("चोपड़े")


@pytest.mark.parametrize("other", ["bo-halyard", "BO’HALYARD", "Bo_Halyard", "Bohalyard"])
def test_two_names_are_the_same_however_they_were_typed(other: str) -> None:
    assert same(other) == same("Bo Halyard")


def test_a_free_text_is_found_where_a_sentence_repeats_it() -> None:
    phrases = Phrases(["The board was dark.", "No.", "看板太暗了。"])
    assert phrases.are_in("heard late, since: the board  was dark. (TR8.2)")
    assert phrases.are_in("no.")
    assert phrases.are_in("heard late, since: 看板太暗了。")
    assert not phrases.are_in("Women 4x100 m no. 1")
    assert not phrases.are_in("The board was light.")
    assert not Phrases([]).are_in("")

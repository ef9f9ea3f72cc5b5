"""What people cannot see is no name and no reason, and makes no second name of one.

Default_Ignorable_Code_Point and general categories: Unicode Standard, 4.5 and 5.21; emoji: UTS 51.
The names in other scripts are common words, spelled as their users spell them (from memory).
"""

from __future__ import annotations

import sys
from unicodedata import category, normalize

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.sheets.cells import Unreadable, clean_text
from app.visible import find_unseen, likeness, shows_something
from app.wire import clean_line, clean_words

ENGLAND = "\U0001f3f4\U000e0067\U000e0062\U000e0065\U000e006e\U000e0067\U000e007f"
GOOD = [
    "Tern",
    "Zo\u00eb",
    "Straße 4x100",
    "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645",  # Persian, with a zero width non-joiner
    "\u06a9\u062a\u0627\u0628\u200c\u0647\u0627\u06cc \u0645\u0646",
    "\u0915\u094d\u200d\u0937",  # Hindi, with a zero width joiner after the virama
    "\u0c38\u0c30\u0c4d\u200c",  # Telugu, a non-joiner at the end of a word
    "\u0d28\u0d4d\u200d",  # Malayalam, an older chillu
    "\u0dc1\u0dca\u200d\u0dbb\u0dd3",  # Sinhala
    "\u05d4\u05e4\u05d5\u05e2\u05dc (\u05d0)\u200f",  # Hebrew, a mark keeps the bracket in place
    "\u0627\u0644\u0646\u0627\u062f\u064a \u200e4x100",
    "\U0001f469\u200d\U0001f692",  # one woman firefighter
    "\U0001f469\U0001f3fd\u200d\U0001f3a4",
    "\U0001f3f3\ufe0f\u200d\U0001f308",
    "\U0001f3f4\u200d\u2620\ufe0f",
    "1\ufe0f\u20e3 Gulls",
    "\u26a1\ufe0f",
    f"{ENGLAND} A",
    "\U0001fae9",  # assigned in Unicode 16, unknown to older tables
    "\u845b\U000e0100\u57ce",  # an ideograph with its variant
    "\u1820\u180b\u1828",
    "\U0001f1eb\U0001f1f7",
    "O\u2019Malley-Quay & Co. #2",
    "\u2801\u2803\u2800\u2809",  # Braille with a blank cell
    "-",
]
NOTHING_SEEN = [
    *("\u200b\u200b\u200b", "\u200e", "\u200d", "\u200c", "\u3164", "\u115f", "\u1160", "\u180e"),
    *("\u2800", "\u2800\u2800", "\u034f", "\ufe0f", "\u2060", "\ufeff", "\u00ad", "\u061c"),
    *("\u0301", "\uffa0", "\u17b4", "\U000e0100", "\U000e0041", "\ue000", "\uffff"),
]
UNSEEN_WITHIN = [
    *("\u200b", "\u00ad", "\u034f", "\u2060", "\u2061", "\ufeff", "\u202a", "\u202e", "\u2066"),
    *("\u2069", "\u200e", "\u200f", "\u061c", "\u115f", "\u3164", "\uffa0", "\u17b5", "\u206a"),
    *("\uffff", "\ufdd0", "\U0010ffff", "\ue000", "\uf8ff", "\U000e0041", "\U000e0001", "\u0378"),
    *("\u200d\u200d", " \u200d", "\ufe0f\ufe0f", " \ufe0f", "\ufff9", "\U0001d173", "\u2065"),
]


@pytest.mark.parametrize("name", GOOD)
def test_names_in_all_scripts_and_emoji_are_kept_as_they_are(name: str) -> None:
    kept = normalize("NFC", name)
    assert clean_line(name) == clean_words(name) == kept
    assert clean_text(name) == kept


@pytest.mark.parametrize("text", NOTHING_SEEN)
def test_a_text_of_which_nothing_is_seen_is_refused_in_documents_and_in_files(text: str) -> None:
    for clean in (clean_line, clean_words):
        with pytest.raises(ValueError, match=r"people would not see it|nothing of this"):
            clean(text)
    assert isinstance(clean_text(text), Unreadable)


@pytest.mark.parametrize("unseen", UNSEEN_WITHIN)
def test_what_nobody_sees_within_a_name_is_refused_in_documents_and_in_files(unseen: str) -> None:
    with pytest.raises(ValueError, match="people would not see it"):
        clean_line(f"A{unseen}x")
    assert isinstance(clean_text(f"A{unseen}x"), Unreadable)


@pytest.mark.parametrize("separator", ["\u2028", "\u2029"])
def test_a_line_separator_is_refused_in_documents_and_a_blank_in_files(separator: str) -> None:
    for clean in (clean_line, clean_words):
        with pytest.raises(ValueError, match="people would not see it"):
            clean(f"A{separator}x")
    assert clean_text(f"A{separator}x") == "A x"


def test_words_may_stand_on_several_lines_and_a_name_may_not() -> None:
    assert clean_words("Erste Übergabe:\r\nzu spät") == "Erste Übergabe:\nzu spät"
    with pytest.raises(ValueError, match=r"U\+000A"):
        clean_line("Übergabe\nzwei")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Tern", "TE\u200cRN"),
        ("Tern \u26a1", "tern \u26a1\ufe0f"),
        ("\u0627\u0644\u0646\u0627\u062f\u064a", "\u0627\u0644\u0646\u0627\u062f\u064a\u200f"),
        ("Zo\u00eb", "zoe\u200d\u0308"),
        ("Tern", "Te\u2800rn"),
        ("Tern", "Tern\U0001d159"),
        ("Tern", "\U00016fe4tern"),
        # Capital iota with both marks has no code point of its own, the small letter has.
        ("\u0390", "\u03aa\u0301"),
        ("Μα\u0390α", "ΜΑ\u03aa\u0301Α"),
    ],
)
def test_names_that_look_alike_are_alike(one: str, other: str) -> None:
    assert likeness(one) == likeness(other)


def test_flags_of_different_places_are_not_alike() -> None:
    scotland = ENGLAND.replace("\U000e0065\U000e006e\U000e0067", "\U000e0073\U000e0063\U000e0074")
    assert clean_line(scotland) == scotland
    assert likeness(scotland) != likeness(ENGLAND)


@given(st.text(alphabet=st.characters(), max_size=12))
@example("\U0001f3f4\U000e0067")
@example("\u03aa\u0301")  # a small letter that is composed otherwise than its capital
def test_whatever_passes_shows_itself_but_for_what_scripts_need(text: str) -> None:
    if find_unseen(text) is None:
        for character in text:
            assert category(character) not in {"Cc", "Cs", "Co", "Zl", "Zp"}
        assert likeness(likeness(text)) == likeness(text)
        assert shows_something(text) or not any(
            category(character)[0] in "LNP" for character in text
        )


def test_no_single_format_character_passes_for_a_name() -> None:
    for code in range(sys.maxunicode + 1):
        if category(chr(code)) in {"Cf", "Mn", "Me"}:
            assert isinstance(clean_text(chr(code)), Unreadable), hex(code)

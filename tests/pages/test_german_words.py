"""One German word stands for one thing: that of the sport's own rule book, where it has one.

Another word is as good German, and would make a reader look for a second thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from tests.pages.test_languages import PLACEHOLDER, catalogues

OTHER_WORDS = {
    "Bericht": r"\bMeldung|Meldeformular",  # what an athlete is entered with
    "Fahne": r"flagge",
    "Wechselraum": r"Wechselzone|\bZonen?\b",
    "Anlaufraum": r"Anlaufzone",
    "Regelverstoß": r"Vergehen",
    "Kaution": r"Hinterlegung",
    "unterschreiben": r"unterzeichn",
    "bekannt geben": r"bekannt(?:zu|ge)?geb",
    "zurückweisen": r"\babweis|\babgewiesen",
    "anmelden": r"beitret",
    "Veranstaltung": r"\bWettkampf\b",
    "Rolle": r"\bAufgabe",
    "Sie": r"\b(?:du|dich|dir|deine?[mnrs]?)\b",
}
"""What each word is not also called, wherever it stands."""


def said() -> Iterator[tuple[str, str]]:
    """All texts with their German, those in several numbers one by one."""
    for one in (one for catalogue in catalogues("de") for one in catalogue if one.id):
        of_several = isinstance(one.id, tuple)
        for german in one.string if of_several else (one.string,):
            yield one.id[0] if of_several else one.id, PLACEHOLDER.sub("…", str(german))


@pytest.mark.parametrize("word", OTHER_WORDS)
def test_a_thing_is_called_by_one_german_word(word: str) -> None:
    other = re.compile(OTHER_WORDS[word], re.IGNORECASE)
    assert {german for _text, german in said() if other.search(german)} == set()


def test_a_team_is_a_mannschaft_and_only_a_relay_a_staffel() -> None:
    staffel = {text for text, german in said() if re.search(r"\bStaffeln?\b", german)}
    assert len(staffel) > 1
    assert {text for text in staffel if "relay" not in text.lower()} == set()


ELSEWHERE = [
    *(("Sie", "Was du siehst"), ("Fahne", "Flagge"), ("bekannt geben", "bekanntzugeben")),
    *(("bekannt geben", "bekanntgeben"), ("bekannt geben", "bekanntgegeben")),
    *(("Bericht", "Meldung"), ("Wechselraum", "die Zone"), ("zurückweisen", "abgewiesen")),
    *(("Anlaufraum", "Anlaufzone"), ("Regelverstoß", "Vergehen"), ("Kaution", "Hinterlegung")),
    *(("unterschreiben", "unterzeichnet"), ("anmelden", "beitreten"), ("Rolle", "Aufgabe")),
    ("Veranstaltung", "der Wettkampf"),
]


def test_each_word_has_another_that_would_be_found() -> None:
    assert {word for word, _sentence in ELSEWHERE} == set(OTHER_WORDS)


@pytest.mark.parametrize(("word", "sentence"), ELSEWHERE)
def test_another_word_would_be_found(word: str, sentence: str) -> None:
    assert re.search(OTHER_WORDS[word], sentence, re.IGNORECASE)

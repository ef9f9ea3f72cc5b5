"""Numbers of things are said as people say them."""

from __future__ import annotations

import pytest

from app.plurals import agreeing, counted


@pytest.mark.parametrize(
    ("number", "said"), [(0, "0 entries"), (1, "1 entry"), (2, "2 entries"), (1234, "1234 entries")]
)
def test_a_number_is_said_with_its_word(number: int, said: str) -> None:
    assert counted(number, "entry") == said


def test_a_word_of_two_words_has_its_own_plural() -> None:
    assert counted(2, "erased body", "erased bodies") == "2 erased bodies"
    assert counted(2, "picture") == "2 pictures"


@pytest.mark.parametrize(("number", "said"), [(1, "1 seal is good"), (2, "2 seals are good")])
def test_its_verb_goes_with_the_number(number: int, said: str) -> None:
    assert agreeing(number, "seal", "is good", "are good") == said

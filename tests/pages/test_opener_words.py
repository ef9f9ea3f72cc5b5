"""What opened a window, kept in words: told again in the page's language."""

from __future__ import annotations

import pytest

from app.pages.opener_words import Opener, opener


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("announcement 2", Opener("2", None, None, None)),
        ("announcement 12 of heat 3", Opener("12", None, "3", None)),
        (
            "announcement 1 of heat 1 of the Re-run of heat 2",
            Opener("1", None, "1", "Re-run of heat 2"),
        ),
        ("advice on protest 7", Opener(None, "7", None, None)),
        ("advice on protest 7 of heat 2", Opener(None, "7", "2", None)),
    ],
)
def test_every_shape_that_the_service_writes_is_read(words: str, told: Opener) -> None:
    assert opener(words) == told


@pytest.mark.parametrize("words", ["", "announcement", "announcement 2 of the day", "the end"])
def test_words_of_another_shape_are_left_as_they_are(words: str) -> None:
    assert opener(words) is None

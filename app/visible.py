"""Which characters of a text can people see?

What nobody sees can make two names out of one, a reason out of nothing, or turn what is read; so
it is refused, in documents and in files alike. Scripts need some of it inside words, and that is
taken where it does its work:

- Joiners, one after a character that can be seen: Persian and the scripts of India spell with them,
  also at the end of a word, and emoji are joined by them (Unicode Standard, 23.2; UTS 51, 1.4.5).
- Variation selectors after a base (Unicode Standard, 23.4).
- Direction marks in a text with letters that run from right to left, where they put brackets and
  digits in their places. In any other text they do nothing that is meant. Embeddings, overrides and
  isolates turn letters and are refused everywhere (Unicode Standard Annex 9).
- The tags of the three flags that are emoji (UTS 51, Annex C).

None of it counts as something seen, nor when two names are compared. Which characters these are is
from memory of the Unicode Character Database (Default_Ignorable_Code_Point). A place that is kept
for emoji counts as seen, since phones know newer ones than the tables here (UTS 51, 1.4.4).
"""

from __future__ import annotations

import re
from unicodedata import bidirectional, category, normalize

_JOINERS = frozenset("\u180e\u200c\u200d")
_DIRECTION_MARKS = frozenset("\u061c\u200e\u200f")
_SELECTORS = frozenset(
    ["\u180b", "\u180c", "\u180d", "\u180f"]
    + [chr(code) for code in (*range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0))]
)
_BLANK_LETTERS = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0")
_IGNORED = _JOINERS | _DIRECTION_MARKS | _SELECTORS
_PASSES_FOR_PRINTABLE = _SELECTORS | _BLANK_LETTERS
_FLAG = re.compile(
    "\U0001f3f4(?:{})\U000e007f".format(
        "|".join(
            "".join(chr(0xE0000 + ord(letter)) for letter in region)
            for region in ("gbeng", "gbsct", "gbwls")
        )
    )
)
_BLANK_SIGNS = frozenset("\u2800\U0001d159\U00016fe4")
"""Shown as blanks, taken for what they are: braille, a null notehead, a filler (from memory)."""
_UNSEEN = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})


def find_unseen(text: str) -> str | None:
    """The first character that nobody sees and that no script needs there; None where all is seen.

    Blanks count as seen, line breaks and tabs do not.
    """
    if text.isprintable() and _PASSES_FOR_PRINTABLE.isdisjoint(text):
        return None
    text = _FLAG.sub("\U0001f3f4", text)
    turns = not _DIRECTION_MARKS.isdisjoint(text) and _has_letters_from_right_to_left(text)
    before = " "
    for character in text:
        is_plain = character.isprintable() and character not in _PASSES_FOR_PRINTABLE
        if not is_plain and not _may_follow(character, before, turns=turns):
            return character
        before = character
    return None


def _has_letters_from_right_to_left(text: str) -> bool:
    return any(
        bidirectional(character) in {"R", "AL"}
        for character in text
        if character not in _DIRECTION_MARKS
    )


def _may_follow(character: str, before: str, *, turns: bool) -> bool:
    if character in _SELECTORS:
        return shows_something(before)
    if character in _JOINERS:
        return shows_something(before) or category(before)[0] == "M"
    if character in _DIRECTION_MARKS:
        return turns
    if character in _BLANK_LETTERS:
        return False
    return category(character) not in _UNSEEN or _is_kept_for_emoji(character)


def shows_something(text: str) -> bool:
    """Whether a text holds a letter, digit or sign."""
    return any(
        category(character)[0] in "LNPS" or _is_kept_for_emoji(character)
        for character in text
        if character not in _BLANK_LETTERS | _BLANK_SIGNS
    )


def _is_kept_for_emoji(character: str) -> bool:
    return "\U0001f000" <= character <= "\U0001fffd"


def likeness(name: str) -> str:
    """What two names have in common that look alike but for their case and their blanks."""
    name = "".join(name.split())
    if name.isascii():
        return name.casefold()
    seen = "".join(character for character in name if character not in _IGNORED | _BLANK_SIGNS)
    # Once more: small letters can be composed otherwise than their capitals.
    return normalize("NFC", normalize("NFC", seen).casefold())

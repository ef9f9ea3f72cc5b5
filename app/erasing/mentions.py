"""Does a text name a person? Asked of free text and of sentences, for names as they stand.

Case, blanks and signs that nobody sees count for nothing. In scripts with capitals a name begins
where neither letter nor figure stands before it, and a short one ends so too: “Bo” is in “Bo's
baton” and not in “board”. A long one is found with whatever is hung onto it: many languages bend
names. Where a text tells part of a name only, nobody can say whether it means this person: `parts`
finds those for people to look at.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from app.visible import likeness

SHORT = 5
"""Letters below which a name is looked for as a whole word."""
LONG = 12
"""Letters from which a free text is looked for inside sentences; half as many in other scripts,
some of which write a sentence in six.
"""


class Names:
    """The names of people, to be looked for in texts."""

    def __init__(self, names: Iterable[str]) -> None:
        self._names = {plain for name in names if (plain := _plain(name))}
        beginnings: dict[str, list[str]] = {}
        for name in self._names:
            beginnings.setdefault(name.split()[0][:2], []).append(_pattern(name))
        # A meet has thousands of names: each place of a text is held against the few that begin so.
        self._patterns = {key: re.compile("|".join(those)) for key, those in beginnings.items()}

    def __bool__(self) -> bool:
        return bool(self._names)

    def are_in(self, text: str) -> bool:
        """Whether one of them stands in the text."""
        if not self._patterns:
            return False
        plain = _plain(text)
        return any(self._are_at(plain, place) for place in range(len(plain)))

    def _are_at(self, plain: str, place: int) -> bool:
        keys = {plain[place], plain[place : place + 2]}
        patterns = (self._patterns[key] for key in keys if key in self._patterns)
        return any(pattern.match(plain, place) for pattern in patterns)

    def parts(self) -> Names:
        """The words that these names are made of, each for itself; initials are left out."""
        words = (word for name in self._names for word in name.split())
        return Names(word for word in words if len(word) > 2 or not _parts_words(word[0]))


class Phrases:
    """Free texts as sentences repeat them: word for word. Short ones are words of any sentence, and
    found only where they stand alone.
    """

    def __init__(self, texts: Iterable[str]) -> None:
        self._all = {plain for text in texts if (plain := _plain(text))}
        self._beginnings: dict[str, list[str]] = {}
        for plain in self._all:
            long = LONG if plain.isascii() else LONG // 2
            if len(plain) >= long:
                self._beginnings.setdefault(plain[:long], []).append(plain)

    def are_in(self, text: str) -> bool:
        """Whether one of them stands in the text."""
        plain = _plain(text)
        return plain in self._all or any(
            plain.startswith(phrase, place)
            for place in range(len(plain) - LONG // 2 + 1)
            for long in (LONG, LONG // 2)
            for phrase in self._beginnings.get(plain[place : place + long], ())
        )


def _plain(text: str) -> str:
    return " ".join(alike for word in text.split() if (alike := likeness(word)))


def _pattern(name: str) -> str:
    begins = r"(?<![^\W_])" if _parts_words(name[0]) else ""
    is_short = len(name.replace(" ", "")) < SHORT
    ends = r"(?![^\W_])" if is_short and _parts_words(name[-1]) else ""
    words = r"\W*".join(re.escape(word) for word in name.split())
    return f"{begins}{words}{ends}"


def _parts_words(letter: str) -> bool:
    """Whether this is of a script that writes its words apart: one with capitals, or figures."""
    return letter.upper() != letter.lower() or letter.isdecimal()

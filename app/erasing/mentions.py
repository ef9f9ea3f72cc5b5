"""Does a text name a person? Asked of free text and of sentences, for names as they stand.

Case, blanks, apostrophes, hyphens and signs that nobody sees count for nothing (`spelling.py`). In
scripts with capitals a name begins where neither letter nor figure stands before it, and a short
one ends so too: “Bo” is in “Bo's baton” and not in “board”. A long one is found with whatever is
hung onto it: many languages bend names. Where a text tells part of a name only, nobody can say
whether it means this person: `parts` finds those for people to look at.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from app.erasing.spelling import joined, spelt, without_marks, words_of

_BETWEEN = r"[\W_]*"
"""What may stand between the words of a name, or not."""
SHORT = 5
"""Letters below which a name is looked for as a whole word."""
LONG = 12
"""Letters from which a free text is looked for inside sentences; half as many in other scripts,
some of which write a sentence in six.
"""


class Names:
    """The names of people, to be looked for in texts; with `marks` false also where the marks over
    their letters were left out.
    """

    def __init__(self, names: Iterable[str], *, marks: bool = True) -> None:
        self._marks = marks
        self._names = {plain for name in names if (plain := self._plain(name))}
        beginnings: dict[str, list[str]] = {}
        for name in self._names:
            beginnings.setdefault(words_of(name)[0][:2], []).append(_pattern(name))
        # A meet has thousands of names: each place of a text is held against the few that begin so.
        self._patterns = {key: re.compile("|".join(those)) for key, those in beginnings.items()}

    def __bool__(self) -> bool:
        return bool(self._names)

    def are_in(self, text: str) -> bool:
        """Whether one of them stands in the text."""
        if not self._patterns:
            return False
        plain = self._plain(text)
        if self._stand_in(plain):
            return True
        whole = joined(plain)
        return whole != plain and self._stand_in(whole)

    def parts(self) -> Names:
        """The words that these names are made of, each for itself, and without the marks over their
        letters; initials are left out.
        """
        words = (word for name in self._names for word in words_of(name))
        kept = (word for word in words if len(word) > 2 or not _parts_words(word[0]))
        return Names(kept, marks=False)

    def _plain(self, text: str) -> str:
        return spelt(text) if self._marks else without_marks(spelt(text))

    def _stand_in(self, plain: str) -> bool:
        return any(self._are_at(plain, place) for place in range(len(plain)))

    def _are_at(self, plain: str, place: int) -> bool:
        keys = {plain[place], plain[place : place + 2]}
        patterns = (self._patterns[key] for key in keys if key in self._patterns)
        return any(pattern.match(plain, place) for pattern in patterns)


class Phrases:
    """Free texts as sentences repeat them: word for word. Short ones are words of any sentence, and
    found only where they stand alone.
    """

    def __init__(self, texts: Iterable[str]) -> None:
        self._all = {plain for text in texts if (plain := spelt(text))}
        self._beginnings: dict[str, list[str]] = {}
        for plain in self._all:
            long = LONG if plain.isascii() else LONG // 2
            if len(plain) >= long:
                self._beginnings.setdefault(plain[:long], []).append(plain)

    def are_in(self, text: str) -> bool:
        """Whether one of them stands in the text."""
        plain = spelt(text)
        return plain in self._all or any(
            plain.startswith(phrase, place)
            for place in range(len(plain) - LONG // 2 + 1)
            for long in (LONG, LONG // 2)
            for phrase in self._beginnings.get(plain[place : place + long], ())
        )


def _pattern(name: str) -> str:
    words = words_of(name)
    begins = r"(?<![^\W_])" if _parts_words(words[0][0]) else ""
    is_short = sum(map(len, words)) < SHORT
    ends = r"(?![^\W_])" if is_short and _parts_words(words[-1][-1]) else ""
    return f"{begins}{_BETWEEN.join(map(re.escape, words))}{ends}"


def _parts_words(letter: str) -> bool:
    """Whether this is of a script that writes its words apart: one with capitals, or figures."""
    return letter.upper() != letter.lower() or letter.isdecimal()

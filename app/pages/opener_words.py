"""What opened a window, which is kept in English words, taken apart for the page's own language.

`app/results/announcing.py` and `app/results/opening.py` write the words when the window opens, and
`app/appeals/which_heat.py` adds the heat where it is another's.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_WORDS = re.compile(
    r"(?:announcement (?P<announcement>\d+)|advice on protest (?P<protest>\d+))"
    r"(?: of heat (?P<heat>\d+)(?: of the (?P<round>.+))?)?"
)


@dataclass(frozen=True, slots=True)
class Opener:
    """An announcement, or the advice on a protest, by its number; the heat, and its round, only
    where they are others than those of what is measured.
    """

    announcement: str | None
    protest: str | None
    heat: str | None
    round: str | None


def opener(words: str) -> Opener | None:
    """What the words say; None where they are of another shape, and are shown as they are."""
    found = _WORDS.fullmatch(words)
    return Opener(**found.groupdict()) if found else None

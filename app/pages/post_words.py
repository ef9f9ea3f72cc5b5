"""A post that reports and calls keep in English words, taken apart for the page's own language.

The words stand on signed papers as they are (`app/crew/queries.py` and `app/reports/arriving.py`
write them); a plan may have changed since, so that they are all that tells where somebody stood.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_WORDS = re.compile(
    r"take-over (?P<take_over>\d)"
    r"(?:, (?P<edge>start|end), lanes? (?P<lanes>\d[\d–, ]*), (?P<side>inside|outside)"
    r"|, own observation)"
)


@dataclass(frozen=True, slots=True)
class KeptPost:
    """Where somebody stood; without an edge it was an observation of their own."""

    take_over: str
    edge: str | None
    lanes: str | None
    side: str | None

    @property
    def is_one_lane(self) -> bool:
        """Whether it watched a single lane."""
        return (self.lanes or "").isdigit()


def kept_post(words: str) -> KeptPost | None:
    """What the words say; None where they are of another shape, and are shown as they are."""
    found = _WORDS.fullmatch(words)
    return KeptPost(**found.groupdict()) if found else None

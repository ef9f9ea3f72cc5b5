"""Names that are written from right to left, where a page has no element to set them apart.

An element's text has `bdi` or `dir="auto"`. Titles, labels of controls, options and what is about
to be signed are plain text: there the isolates of the Unicode Bidirectional Algorithm (UAX 9, FSI
and PDI) keep a name from turning the numbers and commas around it.
"""

from __future__ import annotations

from unicodedata import bidirectional

FIRST_STRONG, POP = "\u2068", "\u2069"
RIGHT_TO_LEFT = {"R", "AL", "AN"}


def apart(name: str | None) -> str:
    """A name that its neighbours do not reorder; one that runs as they do stays as it is."""
    text = name or ""
    turns = any(bidirectional(letter) in RIGHT_TO_LEFT for letter in text)
    return f"{FIRST_STRONG}{text}{POP}" if turns else text

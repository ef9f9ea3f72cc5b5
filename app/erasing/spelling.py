"""How are names and texts made alike, so that a name is found however it was typed?

By compatibility forms (Unicode Standard Annex 15, NFKC) and without case (Unicode Standard, 3.13),
the Turkish letters ı and İ taken for i. Apostrophes, hyphens and underscores part the words of a
name, or count for nothing: phones put one of many in their place, or none. Which characters these
are is from memory of the Unicode Character Database.
"""

from __future__ import annotations

import re
from unicodedata import category, normalize

from app.visible import likeness

_APOSTROPHES = "'`´‘’‚‛ʹʻʼʽʾʿˈˊˋ′‵՚׳ꞌ＇"
_HYPHENS = "-\u00ad‐‑‒–—―−⁃·・־﹘﹣－_"
_ALIKE = str.maketrans(
    {**dict.fromkeys(_APOSTROPHES, "'"), **dict.fromkeys(_HYPHENS, "-"), "ı": "i", "İ": "i"}
)
_DOTTED = "i\u0307"
"""What a capital İ becomes without its case."""
_WITHOUT_MARKS = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ð": "d"})
_JOINT = re.compile(r"(?<=[^\W_])(?:- ?(?=[^\W_])|'(?=[^\W_]{3}))")
"""What parts a word and could be left out; after an apostrophe two letters are another word."""
_PARTED = frozenset("PSZC")
"""Classes of characters that stand between words; marks belong to their letters."""


def spelt(text: str) -> str:
    """A text as it is compared: without case, and with one blank wherever there were some."""
    alike = " ".join(likeness(word) for word in text.translate(_ALIKE).split())
    if not alike.isascii():
        # Compatibility forms can have a case of their own, or blanks.
        folded = normalize("NFKC", normalize("NFKC", alike).casefold())
        alike = folded.translate(_ALIKE).replace(_DOTTED, "i")
    return " ".join(alike.split())


def joined(text: str) -> str:
    """The same text where what joins the parts of a word is left out, also at the end of a line."""
    return _JOINT.sub("", text)


def words_of(name: str) -> list[str]:
    """The words of a name that was spelt so; the name itself where it has none."""
    parted = "".join(" " if category(one)[0] in _PARTED else one for one in name)
    return parted.split() or name.split()


def same(name: str) -> str:
    """What two names have in common that are the same, however they were typed."""
    return "".join(words_of(spelt(name)))


def without_marks(text: str) -> str:
    """The text without the marks over and under its letters, in scripts with capitals: elsewhere a
    mark is a vowel, and another word.
    """
    if text.isascii():
        return text
    plain, before = [], " "
    for one in normalize("NFD", text):
        if category(one) != "Mn":
            before = one
        elif before.upper() != before.lower():
            continue
        plain.append(one)
    return normalize("NFC", "".join(plain)).translate(_WITHOUT_MARKS)

"""How are the marks of a result sheet said, where a sentence that stands on it is read aloud?

What has changed and what was decided is kept in one sentence for sheet and announcer, with the
marks that the sheet's table shows. Nobody in the stands knows them. A team may be called by what
looks like a mark: names are read as they are.
"""

from __future__ import annotations

import re
from collections.abc import Collection

from app.results.wording import LETTERS

_LETTERS = "|".join(LETTERS)
_SAID = (
    (re.compile(rf" \((?:{_LETTERS})\)(?=[.;]| is )"), ""),  # "by time (q)": said already
    (re.compile(r" \(DQ ([^()]+)\)"), r" by rule \1"),
    (re.compile(r"(?<=[:,] )DQ (?=\S)"), "disqualified by rule "),
    (re.compile(r"(?<=[:,] )DNS(?=[.;, ])"), "did not start"),
    (re.compile(r"(?<=[:,] )DNF(?=[.;, ])"), "did not finish"),
    (re.compile(r"(?<=\d), L(?=[.;,])"), ", lane infringement noted"),
)
_MARKS = frozenset({*LETTERS, "DQ", "DNS", "DNF", "L"})
_NOWHERE = "(?!)"
"""Matches nowhere."""
_NAME = "\0"
"""Stands for a name meanwhile: no text that is stored has it."""


def marks_aloud(sentence: str, names: Collection[str] = ()) -> str:
    """The sentence with its marks in words: "not through; before: through by time". The names of
    teams are left alone, but for one that is nothing but a mark: that cannot be told apart.
    """
    named = _any_of([name for name in names if name in sentence and name not in _MARKS])
    kept = named.findall(sentence)
    sentence = named.sub(_NAME, sentence)
    for mark, words in _SAID:
        sentence = mark.sub(words, sentence)
    first, *rest = sentence.split(_NAME)
    return first + "".join(name + after for name, after in zip(kept, rest, strict=True))


def _any_of(names: Collection[str]) -> re.Pattern[str]:
    """Any of the names as a whole, the longest first: one may begin like another."""
    longest_first = sorted(names, key=len, reverse=True)
    one_of_them = "|".join(map(re.escape, longest_first)) or _NOWHERE
    return re.compile(rf"(?<!\w)(?:{one_of_them})(?!\w)")

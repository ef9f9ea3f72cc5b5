"""How are the marks of a result sheet said, where a sentence that stands on it is read aloud?

What has changed and what was decided is kept in one sentence for sheet and announcer, with the
marks that the sheet's table shows. Nobody in the stands knows them.
"""

from __future__ import annotations

import re

from app.results.wording import LETTERS

_LETTERS = "|".join(LETTERS)
_SAID = (
    (re.compile(rf" \((?:{_LETTERS})\)(?=[.;])"), ""),  # "through by time (q)": said already
    (re.compile(r" \(DQ ([^()]+)\)"), r" by rule \1"),
    (re.compile(r"(?<=[:,] )DQ (?=\S)"), "disqualified by rule "),
    (re.compile(r"(?<=[:,] )DNS(?=[.;, ])"), "did not start"),
    (re.compile(r"(?<=[:,] )DNF(?=[.;, ])"), "did not finish"),
    (re.compile(r"(?<=\d), L(?=[.;,])"), ", lane infringement noted"),
)


def marks_aloud(sentence: str) -> str:
    """The sentence with its marks in words: "not through; before: through by time"."""
    for mark, words in _SAID:
        sentence = mark.sub(words, sentence)
    return sentence

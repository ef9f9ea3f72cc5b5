"""In which direction does each character run, and in which order do the runs stand on a line?

The directions come from the Unicode Bidirectional Algorithm (UAX #9) as the library python-bidi
carries it out; its steps work on its own record of a text, which is built here. Reordering a line
is rule L2. Mirrored brackets are the shaper's business. Marks that switch the direction by hand
(embeddings, overrides, isolates) are taken out before: on a form they could only disguise a text.
"""

import re
import unicodedata
from collections import deque
from collections.abc import Sequence
from typing import Any, Protocol, TypeVar

from bidi import algorithm  # type: ignore[import-untyped]
from bidi.mirror import MIRRORED  # type: ignore[import-untyped]

DEEPEST_BRACKETS = 63  # UAX #9, BD16
RIGHT_TO_LEFT = frozenset({"R", "AL", "AN"})
SWITCHES = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")

_LEFTWARDS = "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001efff"
_NAME = re.compile(f"([{_LEFTWARDS}]+(?:[ '\u2019\u2013\u20140-9-]+[{_LEFTWARDS}]+)*)")
"""Unicode's ranges of scripts that run from right to left (DerivedBidiClass, R and AL)."""


class HasLevel(Protocol):
    """Anything with an embedding level."""

    @property
    def level(self) -> int:
        """Even for left to right, odd for right to left."""
        ...


Levelled = TypeVar("Levelled", bound=HasLevel)


def runs_right_to_left(text: str) -> bool:
    """Whether a paragraph of this text starts from the right (UAX #9, P2 and P3)."""
    return bool(algorithm.get_base_level(text))


def part_names(sentence: str) -> list[str]:
    """A sentence of ours in parts, so that each name in it that runs from right to left stands
    isolated (UAX #9, 2.4): the sentence itself is read from left to right, whatever it begins with.
    """
    return [part for part in _NAME.split(sentence) if part]


def find_levels(text: str) -> list[int]:
    """The embedding level of each character; the text is one paragraph without switches."""
    if text.isascii() or not any(
        unicodedata.bidirectional(character) in RIGHT_TO_LEFT for character in text
    ):
        return [0] * len(text)
    storage = _record_of(text)
    chars = list(storage["chars"])
    algorithm.explicit_embed_and_overrides(storage)
    algorithm.resolve_weak_types(storage)
    _resolve_brackets(storage["chars"], storage["base_dir"])
    algorithm.resolve_neutral_types(storage, debug=False)
    algorithm.resolve_implicit_levels(storage, debug=False)
    return _follow_neighbours(chars)


def _record_of(text: str) -> dict[str, Any]:
    base = int(algorithm.get_base_level(text))
    chars = deque[dict[str, Any]]()
    for character in text:
        # Characters that are not assigned have no type; they print as a box, like a letter.
        kind = unicodedata.bidirectional(character) or "L"
        chars.append({"ch": character, "level": base, "type": kind, "orig": kind})
    return {"base_level": base, "base_dir": "LR"[base], "chars": list(chars), "runs": deque()}


def _resolve_brackets(chars: list[dict[str, Any]], base: str) -> None:
    """Give both brackets of a pair one direction (UAX #9, N0), which python-bidi leaves out."""
    other = "L" if base == "R" else "R"
    for start, end in _pair_brackets(chars):
        inside = {_strong(char) for char in chars[start + 1 : end]}
        before = next((s for c in chars[start - 1 :: -1] if (s := _strong(c))), base)
        if start == 0:
            before = base
        if base in inside:
            chars[start]["type"] = chars[end]["type"] = base
        elif other in inside:
            chars[start]["type"] = chars[end]["type"] = other if before == other else base


def _strong(char: dict[str, Any]) -> str:
    # Numbers count as right to left here (UAX #9, N0, note).
    return {"L": "L", "R": "R", "EN": "R", "AN": "R"}.get(char["type"], "")


def _pair_brackets(chars: list[dict[str, Any]]) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    opened: list[tuple[str, int]] = []
    for place, char in enumerate(chars):
        if char["type"] != "ON" or char["ch"] not in MIRRORED:
            continue
        kind = unicodedata.category(char["ch"])
        if kind == "Ps" and len(opened) < DEEPEST_BRACKETS:
            opened.append((MIRRORED[char["ch"]], place))
        elif kind == "Pe" and char["ch"] in [closing for closing, _ in opened]:
            while opened:
                closing, start = opened.pop()
                if closing == char["ch"]:
                    pairs.append((start, place))
                    break
    return sorted(pairs)


def _follow_neighbours(chars: list[dict[str, Any]]) -> list[int]:
    # Rule X9 sets joiners and other invisible marks aside; they go with what stands before them.
    levels: list[int] = []
    for char in chars:
        follows = char["orig"] == "BN" and levels
        levels.append(levels[-1] if follows else int(char["level"]))
    return levels


def order_for_the_eye(runs: Sequence[Levelled]) -> list[Levelled]:
    """The runs of one line from left to right (UAX #9, L2)."""
    ordered = list(runs)
    levels = [run.level for run in ordered]
    lowest_odd = min((level for level in levels if level % 2), default=0)
    if lowest_odd == 0:
        return ordered
    for level in range(max(levels), lowest_odd - 1, -1):
        ordered = _reverse_from(ordered, level)
    return ordered


def _reverse_from(runs: list[Levelled], level: int) -> list[Levelled]:
    turned: list[Levelled] = []
    stretch: list[Levelled] = []
    for run in runs:
        if run.level >= level:
            stretch.append(run)
        else:
            turned += [*reversed(stretch), run]
            stretch = []
    return turned + stretch[::-1]

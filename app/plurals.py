"""Numbers of things in plain words: “1 entry”, “3 entries”."""

from __future__ import annotations


def counted(number: int, one: str, many: str = "") -> str:
    """The number with the word in its form for it; `many` where the regular one is wrong."""
    if number == 1:
        return f"1 {one}"
    regular = f"{one[:-1]}ies" if one.endswith("y") else f"{one}s"
    return f"{number:,} {many or regular}"

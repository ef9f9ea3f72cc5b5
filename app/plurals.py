"""Numbers in plain words: “1 entry”, “3 entries”; and those that follow each other."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby


def counted(number: int, one: str, many: str = "") -> str:
    """The number with the word in its form for it: `many`, or the regular one, but for one."""
    if number == 1:
        return f"1 {one}"
    regular = f"{one[:-1]}ies" if one.endswith("y") else f"{one}s"
    return f"{number} {many or regular}"


def agreeing(number: int, one: str, one_does: str, many_do: str) -> str:
    """The same with its verb: “1 entry agrees”, “3 entries agree”."""
    return f"{counted(number, one)} {one_does if number == 1 else many_do}"


def runs(numbers: Iterable[int]) -> list[tuple[int, ...]]:
    """Numbers in groups of such as follow each other."""
    ordered = enumerate(sorted(set(numbers)))
    return [
        tuple(number for _, number in group)
        for _, group in groupby(ordered, key=lambda one: one[1] - one[0])
    ]


def spans(numbers: Iterable[int], dash: str = "–") -> str:
    """Numbers in short: 3, or 1–4, 6."""
    return ", ".join(
        f"{run[0]}{dash}{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs(numbers)
    )

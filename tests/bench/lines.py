"""What did the rounds give? Medians, ratios of rounds that ran side by side, and goals.

A ratio is the median over the rounds of *that round's* ratio: the two sides ran one after the other
within seconds, so what else the machine did in the meantime touches both alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from tests.bench.load import Load


@dataclass(frozen=True, slots=True)
class Goal:
    """What a number should be, in words, and whether it is."""

    words: str
    met: bool


@dataclass(frozen=True, slots=True)
class Ratio:
    """How a number compares with what ran beside it."""

    value: float
    against: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the table: the median of its rounds, and what it is compared with."""

    name: str
    unit: str
    rounds: tuple[float, ...]
    p50_ms: float | None = None
    p99_ms: float | None = None
    ratio: Ratio | None = None
    goal: Goal | None = None

    @property
    def median(self) -> float:
        return median(self.rounds)


def rate_line(
    name: str, loads: Sequence[Load], ratio: Ratio | None = None, goal: Goal | None = None
) -> Line:
    """The row of a load that was repeated: answers a second, and how long an answer took."""
    return Line(
        name=name,
        unit="/s",
        rounds=tuple(load.rate for load in loads),
        p50_ms=median(load.percentile_ms(50) for load in loads),
        p99_ms=median(load.percentile_ms(99) for load in loads),
        ratio=ratio,
        goal=goal,
    )


def time_line(
    name: str, seconds: Sequence[float], ratio: Ratio | None = None, goal: Goal | None = None
) -> Line:
    """The row of an act that was repeated and takes its time."""
    return Line(name=name, unit="s", rounds=tuple(seconds), ratio=ratio, goal=goal)


def ratio_of_rounds(these: Sequence[float], those: Sequence[float]) -> float:
    """The median of the rounds' own ratios."""
    return median(this / that for this, that in zip(these, those, strict=True))


def at_least(value: float, goal: float, unit: str) -> Goal:
    """A goal that a number reaches from below."""
    return Goal(f"≥ {goal:,g}{unit}", value >= goal)


def at_most(value: float, goal: float, unit: str) -> Goal:
    """A goal that a number stays under."""
    return Goal(f"≤ {goal:g}{unit}", value <= goal)

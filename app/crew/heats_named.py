"""Heats as people name several of them: by event and round, numbers that follow each other in
short.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from app.ids import HeatId
from app.meets.wire import HeatOut
from app.plurals import spans


@dataclass(frozen=True, slots=True)
class HeatsNamed:
    """Heats of one round of an event."""

    event_name: str
    round: str
    numbers: tuple[int, ...]

    @property
    def spans(self) -> str:
        """The numbers in short: 1–4, 6."""
        return spans(self.numbers)

    @property
    def words(self) -> str:
        """As people say it: Women 4x100, heats, heats 1–4."""
        word = "heat" if len(self.numbers) == 1 else "heats"
        return f"{self.event_name}, {self.round}, {word} {self.spans}"


def named(heats: Iterable[HeatOut]) -> list[HeatsNamed]:
    """All of these heats, in their order."""
    return [
        HeatsNamed(*of, tuple(heat.number for heat in theirs))
        for of, theirs in groupby(heats, key=lambda heat: (heat.event_name, heat.round))
    ]


def in_words(heats: Iterable[HeatOut]) -> str:
    """The same as a line."""
    return "; ".join(one.words for one in named(heats))


class HeatNames:
    """The heats of a programme, to be named by their ids."""

    def __init__(self, programme: Sequence[HeatOut]) -> None:
        self._programme = programme

    def of(self, ids: Iterable[HeatId]) -> Sequence[HeatsNamed]:
        """These, in the order of the programme."""
        asked = set(ids)
        return named(heat for heat in self._programme if heat.id in asked) if asked else []

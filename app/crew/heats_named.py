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
    heats: tuple[HeatOut, ...]

    @property
    def numbers(self) -> tuple[int, ...]:
        return tuple(heat.number for heat in self.heats)

    @property
    def spans(self) -> str:
        """The numbers in short: 1–4, 6."""
        return spans(self.numbers)

    @property
    def words(self) -> str:
        """As people say it: Women 4x100 m, heats: heats 1–4."""
        word = "heat" if len(self.numbers) == 1 else "heats"
        return f"{self.event_name}, {self.round}: {word} {self.spans}"


def named(heats: Iterable[HeatOut]) -> list[HeatsNamed]:
    """All of these heats, in their order; those that follow each other in one round together."""
    rounds = (tuple(some) for _, some in groupby(heats, key=lambda one: (one.event, one.round)))
    return [HeatsNamed(some[0].event_name, some[0].round, some) for some in rounds]


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

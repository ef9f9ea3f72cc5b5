"""How long and how full is a season? Its sizes, and the pace of the people in it.

All seconds are those of a stadium; the clock runs `pace` times as fast, so everything that somebody
waits, thinks or looks again after is divided by it. What the server takes is not: at ten times the
pace 60 meets ask as much of it as 600 at their own.

How often something happens is assumed, from common practice and not from a count: a relay session
has a heat every four to five minutes; of a hundred lanes one or two are reported; one result in
twenty is protested. Six umpires stand at each of three take-overs.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from tests.bench.plan import EngineName

Span = tuple[float, float]
"""Between so many seconds and so many."""


@dataclass(frozen=True, slots=True)
class Season:
    """One run: how many meets, before how many processes, how long, how fast."""

    meets: int = 60
    workers: int = 2
    engine: EngineName = EngineName.POSTGRESQL
    minutes: float = 5.0
    """Of the clock on the wall."""
    pace: float = 10.0
    seed: int = 1
    zones: int = 3
    watchers: int = 40
    reported: float = 0.015
    """The share of lanes."""
    protested: float = 0.05
    """The share of first announcements."""

    heat_every: Span = (240, 300)
    runner_at_take_over: float = 11.0
    """Seconds after the start, for the first one, and as many more for each further one (4x100)."""
    flag_after: Span = (3, 15)
    account_after: Span = (40, 90)
    finish_list_after: Span = (60, 120)
    referee_thinks: Span = (30, 90)
    desk_thinks: Span = (20, 60)
    protest_after: Span = (60, 300)
    jury_thinks: Span = (60, 180)

    page_looks_every: float = 20.0
    """Pages of whoever has joined, and phones, also without news (js/keeping_up.js)."""
    board_looks_every: float = 10.0
    """A board that is left open (js/polling.js)."""
    board_reloaded_every: float = 30.0

    @property
    def seconds(self) -> float:
        """How long it lasts, as the stadium counts."""
        return self.minutes * 60 * self.pace

    @property
    def meet_hours(self) -> float:
        """Of all meets together, as the stadium counts."""
        return self.meets * self.seconds / 3600

    @property
    def heats(self) -> int:
        """More than a meet can start."""
        return int(self.seconds / self.heat_every[0]) + 2

    def chance_of(self, meet: int) -> Random:
        """What happens by chance at one meet."""
        return Random(f"{self.seed} {meet}")

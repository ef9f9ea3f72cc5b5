"""How long and how wide is one run of the benchmark? Its sizes, and the goals it is held against.

The sizes are those of a large meet: 100 heats of eight lanes, 18 umpires (six a zone, common
practice), 50 cases that await a ruling. What is measured with them is left to the modules beside
this one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

SUBMISSIONS_A_SECOND = 2_000
CLIENTS_OF_THE_GOAL = 16
LEAST_OF_FRAMEWORK = 0.25
LEAST_TIMES_GENERAL = 2.5
SLOWEST_REPORT_MS = {16: 20.0, 64: 60.0}
LONGEST_TAIL = 2.0
LARGEST_GROWTH = 1.3
DOCKETS_A_SECOND = 1_500
SLOWEST_START_S = 1.5
SLOWEST_FORESEEN_MS = 50.0
LARGEST_SEALED_RATIO = 3.0
SLOWEST_SEALED_MS = 30.0
LARGEST_ENTRY_GROWTH = 1.5
SLOWEST_CHECK_S = 5.0
LARGEST_STREAM_KB = 50.0
LARGEST_WORKER_MB = 150.0
SLOWEST_DELIVERY_MS = 120.0


class EngineName(StrEnum):
    """The engines that the service runs on."""

    SQLITE = "sqlite"
    POSTGRESQL = "postgresql"


@dataclass(frozen=True, slots=True)
class Plan:
    """The sizes of one run. `seconds` is how long one load lasts in one round."""

    rounds: int
    seconds: float
    clients: tuple[int, ...] = (1, 16, 64)
    readers: tuple[int, ...] = (1, 16)
    heats: int = 100
    zones: int = 3
    open_cases: int = 50
    few_stored: int = 100
    many_stored: int = 100_000
    heats_loaded: int = 2_000
    forms_a_round: int = 20
    entries_of_short: int = 10
    entries_of_long: int = 1_000_000
    entries_a_round: int = 100
    entries_checked: int = 100_000
    papers_checked: int = 300
    streams: int = 3_000
    followed_meets: int = 60
    followed_pace: float = 100.0
    followed_seconds: float = 10.0
    followed_rounds: int = 5
    foreseen_heats: int = 100


@dataclass(frozen=True, slots=True)
class GrowthPlan:
    """The sizes of `growth.py`: what the large store holds, and how often each thing is asked."""

    reports: int = 1_000_000
    meets: int = 2_000
    requests: int = 200


FULL = Plan(rounds=5, seconds=2.0)
QUICK = Plan(
    rounds=2,
    seconds=0.3,
    readers=(16,),
    many_stored=5_000,
    heats_loaded=500,
    forms_a_round=5,
    entries_of_long=100_000,
    entries_checked=2_000,
    papers_checked=10,
    streams=200,
    followed_meets=5,
    followed_pace=25.0,
    followed_seconds=1.0,
    followed_rounds=1,
    foreseen_heats=30,
)

"""What is killed in the rounds, and what they have come to."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from statistics import median


class Fault(StrEnum):
    """What is killed."""

    SERVER = "the server"
    STARTING = "the server, and once more while it starts"
    COMMAND = "the server by the command line"
    BACKEND = "a process of PostgreSQL"
    POSTMASTER = "the postmaster of PostgreSQL"


@dataclass
class Figures:
    """What a campaign has come to."""

    rounds: int = 0
    attempted: int = 0
    acknowledged: int = 0
    refused: int = 0
    unknown: int = 0
    recovered: int = 0
    seconds: float = 0.0
    restarts: dict[str, list[float]] = field(default_factory=dict)

    def __str__(self) -> str:
        parts = [
            f"{self.rounds} rounds in {self.seconds:.1f} s: {self.attempted} acts, "
            f"{self.acknowledged} acknowledged, {self.refused} refused; {self.unknown} outcomes "
            f"unknown at first, of which {self.recovered} were found done"
        ]
        for what, took in sorted(self.restarts.items()):
            in_ms = f"median {median(took) * 1000:.0f} ms, longest {max(took) * 1000:.0f} ms"
            parts.append(f"{what}, {len(took)} times: first answer after {in_ms}")
        return "\n  ".join(parts)

"""Whom does a crew plan want at two places of the track during one race?

Take-overs lie at one place where the legs between them are whole laps: all of a 4x400, the first
and the third of a 4x200. Both edges of a zone count as one place: they lie within sight of each
other, and whoever has both was merged there on purpose.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from app.rules.relay import Relay
from app.rules.track import LAP_M


@dataclass(frozen=True, slots=True)
class Stands:
    """An official at a take-over."""

    official: str
    take_over: int


@dataclass(frozen=True, slots=True)
class Apart:
    """An official whose take-overs of one relay lie at different places, with all of these."""

    official: str
    take_overs: tuple[int, ...]


def wanted_apart(relay: Relay, crew: Iterable[Stands]) -> tuple[Apart, ...]:
    """Everybody of whom a race of this relay would ask that, in the order given."""
    take_overs: dict[str, set[int]] = {}
    for one in crew:
        take_overs.setdefault(one.official, set()).add(one.take_over)
    return tuple(
        Apart(official, tuple(sorted(theirs)))
        for official, theirs in take_overs.items()
        if len({place_on_lap(relay, take_over) for take_over in theirs}) > 1
    )


def place_on_lap(relay: Relay, take_over: int, lap_m: int = LAP_M) -> int:
    """Where on the lap a take-over lies, in metres past the finish line along lane 1."""
    return -sum(relay.legs[take_over:]) % lap_m


def way_on_lap(one_m: int, other_m: int) -> int:
    """The shorter way along lane 1 between two places of the lap, in metres."""
    apart = abs(one_m - other_m) % LAP_M
    return min(apart, LAP_M - apart)

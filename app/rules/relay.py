"""Which relays there are, how long their legs run, and which one an event name means.

Distances are metres. Zone lengths are no property of a relay: they differ between editions and
stand in the books. Leg lengths: World Athletics TR24.1, from memory.
"""

import re
from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

TAKE_OVERS: Final = (1, 2, 3)
MOST_PLACES: Final = 10
"""On one starting line, and the most lanes of a track (common practice)."""


class Relay(StrEnum):
    """A relay of four legs; the value is the short name printed on forms and results."""

    FOUR_BY_100 = "4x100"
    FOUR_BY_200 = "4x200"
    FOUR_BY_400 = "4x400"
    FOUR_BY_800 = "4x800"
    MEDLEY = "medley"

    @property
    def legs(self) -> tuple[int, ...]:
        """The lengths of the legs in metres, in the order they are run."""
        return _LEGS[self]

    @property
    def take_overs_in_lanes(self) -> int:
        """How many of the first take-overs happen in lanes, where a relay is run as usual."""
        return _TAKE_OVERS_IN_LANES[self]

    @property
    def take_overs(self) -> int:
        """How many times the baton changes hands."""
        return len(self.legs) - 1

    def places(self, lanes: int) -> int:
        """How many teams may start on a track with so many lanes.

        Where no part is run in lanes, the number is a place on the line (common practice).
        """
        return MOST_PLACES if self is Relay.FOUR_BY_800 else lanes


class Edge(StrEnum):
    """The edge of a zone that a post watches; runners meet the start first."""

    START = "start"
    END = "end"


class Side(StrEnum):
    """Which side of the track a post stands on."""

    INSIDE = "inside"
    OUTSIDE = "outside"


_LEGS: Final[Mapping[Relay, tuple[int, ...]]] = MappingProxyType(
    {
        Relay.FOUR_BY_100: (100,) * 4,
        Relay.FOUR_BY_200: (200,) * 4,
        Relay.FOUR_BY_400: (400,) * 4,
        Relay.FOUR_BY_800: (800,) * 4,
        Relay.MEDLEY: (100, 200, 300, 400),
    }
)
_TAKE_OVERS_IN_LANES: Final[Mapping[Relay, int]] = MappingProxyType(
    {  # 4x100 and 4x400: federation pages on TR24; the others from memory
        Relay.FOUR_BY_100: 3,
        Relay.FOUR_BY_200: 3,
        Relay.FOUR_BY_400: 1,
        Relay.FOUR_BY_800: 0,
        Relay.MEDLEY: 2,
    }
)
_EQUAL_LEGS: Final = re.compile(r"(?<!\d)4\s*[x×*]\s*(100|200|400|800)(?!\d)")
_MEDLEY_LEGS: Final = re.compile(
    r"(?<!\d)100\s*[-–—+/]\s*200\s*[-–—+/]\s*300\s*[-–—+/]\s*400(?!\d)"
)
_OTHER_LEGS: Final = re.compile(r"\d\s*[x×*]\s*\d|\d\s*[-–—+/]\s*\d+\s*[-–—+/]\s*\d")


def relay_named(text: str) -> Relay | None:
    """Recognise the relay in an event name, or answer None when the name does not say.

    A bare "medley" is read as 100-200-300-400; a medley that names other legs (a sprint medley
    100-100-200-400, say) is a different race and is not recognised, for its zones differ.
    """
    name = text.casefold()
    equal_legs = _EQUAL_LEGS.search(name)
    if equal_legs:
        return Relay(f"4x{equal_legs.group(1)}")
    if _MEDLEY_LEGS.search(name):
        return Relay.MEDLEY
    says_other = _OTHER_LEGS.search(name) or "sprint" in name or "distance" in name
    return Relay.MEDLEY if "medley" in name and not says_other else None

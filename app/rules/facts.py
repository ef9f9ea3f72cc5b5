"""In which words and measures does an umpire tell what happened?

Positions are metres along the direction of running from a mark, positive past it and negative
short of it. An edge is where the edition of the day has it: at World Athletics the edge of the
line nearer the start, so that the first line is inside the zone and the last outside; at NFHS
both lines belong to the zone, so that its end lies at the far edge of the last line (Swiss
federation data sheet 2016; NFHS 2020 5-3-3).
"""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from typing import Annotated, Any, ClassVar, Final, TypeAlias

MOST_METRES: Final = 60.0  # two zones' length: whatever lies farther off is a slip of the finger
MOST_UNCERTAINTY: Final = 10.0


class Seen(StrEnum):
    """An umpire's answer to a question about a fact."""

    YES = "yes"
    NO = "no"
    UNSURE = "unsure"


class Mark(StrEnum):
    """The mark on the track that a position was measured from.

    Where an edition has no acceleration zone, its line is the start of the zone.
    """

    ZONE_START = "zone start"
    ZONE_END = "zone end"
    LEG_LINE = "leg line"
    ACCELERATION_LINE = "acceleration line"


class Holder(StrEnum):
    """Whose hand the baton was in."""

    INCOMING = "incoming runner"
    RECEIVER = "receiver"
    BOTH = "both"
    UNSURE = "unsure"


class Fetcher(StrEnum):
    """Who fetched a dropped baton."""

    INCOMING = "incoming runner"
    RECEIVER = "receiver"
    SOMEBODY_ELSE = "somebody else"
    NOBODY = "nobody"
    UNSURE = "unsure"


class DropPlace(StrEnum):
    """Where the baton was when it fell."""

    INSIDE_ZONE = "inside the zone"
    OUTSIDE_ZONE = "outside the zone during the pass"
    ON_THE_LEG = "away from the zone"
    UNSURE = "unsure"


class Roll(StrEnum):
    """Which way a dropped baton went."""

    SIDEWAYS_OR_FORWARD = "sideways or forward"
    BACKWARD = "backward"
    UNSURE = "unsure"


class Closed:
    """Marks a class as closed to unknown fields for whoever reads it from JSON."""

    __slots__ = ()
    __pydantic_config__: ClassVar[dict[str, str]] = {"extra": "forbid"}


class AsItIs:
    """Marks a number that whoever reads it from JSON takes as it is: no text or truth value for it.

    A whole number may stand where metres are meant.
    """

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> dict[str, Any]:
        return {**handler(source), "strict": True}


@dataclass(frozen=True, slots=True)
class Means:
    """What a field means, for whoever describes the documents in which it stands."""

    words: str

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {**handler(schema), "description": self.words}


Metres: TypeAlias = Annotated[float, AsItIs()]
Number: TypeAlias = Annotated[int, AsItIs()]


@dataclass(frozen=True, slots=True)
class Position(Closed):
    """Metres along the direction of running from a mark, give or take the uncertainty.

    Negative metres lie before the mark: -0.4 is 0.4 m short of it, 0.4 is that far past it.
    Without `measured_from` it is the edge that the observation is about.
    """

    metres: Annotated[
        Metres,
        Means(
            "along the direction of running: negative short of the mark (-0.4 is 0.4 m before it), "
            "positive past it (0.4 is 0.4 m beyond it)"
        ),
    ]
    uncertainty: Annotated[
        Metres, Means("how far the true place may lie to either side, 0 or more")
    ]
    measured_from: Annotated[
        Mark | None,
        Means("the mark that metres count from; without it the edge that the observation is about"),
    ] = None

    def __post_init__(self) -> None:
        if not isfinite(self.metres) or abs(self.metres) > MOST_METRES:
            raise ValueError(
                f"A position lies within {MOST_METRES:.0f} m of its mark: check the metres."
            )
        if not isfinite(self.uncertainty) or not 0 <= self.uncertainty <= MOST_UNCERTAINTY:
            raise ValueError(
                f"The uncertainty of a position is 0 to {MOST_UNCERTAINTY:.0f} m: check it."
            )

"""What a rule book is made of: frozen facts, each with the rule it stands in.

`book.py` puts them together, `book_reading.py` reads and checks them. Distances are metres along
the direction of running.
"""

from dataclasses import dataclass
from enum import StrEnum


class Consequence(StrEnum):
    """What an infringement puts on the result; "noted" is the notation L of the lane rule."""

    DISQUALIFICATION = "disqualification"
    NOTED = "noted"
    NONE = "none"


class WindowOpener(StrEnum):
    """What starts the clock of a protest or an appeal."""

    ANNOUNCEMENT = "announcement"
    ADVICE = "advice"
    AMENDED_ANNOUNCEMENT = "amended announcement"
    END_OF_MEET = "end of meet"
    ANY_TIME = "any time"


class Remedy(StrEnum):
    """What can be lodged while a window is open."""

    PROTEST = "protest"
    APPEAL = "appeal"


class ReturnPoint(StrEnum):
    """When a dropped baton must be brought back to where it was last in the hand."""

    ALWAYS = "always"
    IF_SIDEWAYS_OR_FORWARD = "sideways or forward"
    NOT_ASKED = "not asked"


@dataclass(frozen=True, slots=True)
class ZoneRule:
    """The zone of one take-over; the leg line counts from the start of the zone.

    The acceleration zone ends where the zone starts; 0 means that there is none. The flags say
    whether the painted lines belong to the zone.
    """

    length_m: float
    leg_line_m: float
    acceleration_m: float
    first_line_inside: bool
    last_line_inside: bool
    rule: str
    source: str


@dataclass(frozen=True, slots=True)
class InfringementRule:
    """How an edition calls an infringement, where it forbids it, and what follows."""

    title: str
    rule: str
    source: str
    consequence: Consequence


@dataclass(frozen=True, slots=True)
class LaneRule:
    """How many steps on the inner line of a bend infringe, and how many times that is tolerated.

    The tolerated ones count per team over all rounds.
    """

    steps_that_infringe: int
    tolerated: int


@dataclass(frozen=True, slots=True)
class DroppedBatonRule:
    """Who may fetch a dropped baton, and where the race goes on."""

    either_when_both_held: bool
    either_when_dropped_inside_zone: bool
    return_point: ReturnPoint
    own_lane_first: bool
    back_into_zone: bool
    infringes_outside_zone: bool


@dataclass(frozen=True, slots=True)
class WindowRule:
    """In which time something can be lodged; None minutes mean that the edition sets no limit."""

    kind: str
    minutes: int | None
    opens: WindowOpener
    rule: str
    source: str
    remedy: Remedy
    meet_may_set: bool


@dataclass(frozen=True, slots=True)
class Notation:
    """A sign on a result and what it means."""

    code: str
    meaning: str
    source: str


@dataclass(frozen=True, slots=True)
class Deposit:
    """What an appellant lays down with an appeal."""

    amount: int
    currency: str
    forfeited_if_rejected: bool
    rule: str
    source: str

    @property
    def text(self) -> str:
        """The deposit in words."""
        return f"{self.amount} {self.currency} or its equivalent"

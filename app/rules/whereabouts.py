"""Was it before, inside or beyond the permitted stretch of track, or is that not to be told?

Positions measured from any mark are brought onto one scale, metres from the start of the zone as
the edition has it. An edge itself belongs to the inside: a baton whose leading end is exactly at
the edge has not yet passed it. So a position is called inside or outside only where that holds
throughout its uncertainty. Lines reach into this through the edition's edges alone: see
`observation.py`.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from app.rules.book import Book
from app.rules.book_parts import ZoneRule
from app.rules.observation import Mark, Position
from app.rules.verdict import Circumstances

MICROMETRES: Final = 6  # decimals kept, so that sums of decimals do not cross an edge


class Whereabouts(StrEnum):
    """Where something was along the direction of running."""

    BEFORE = "before"
    INSIDE = "inside"
    BEYOND = "beyond"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A permitted piece of track, in metres from the start of the zone, and its name."""

    first_m: float
    last_m: float
    name: str

    def locate(self, metres: float, uncertainty: float) -> Whereabouts:
        """Where a position is, throughout its uncertainty."""
        nearest = round(metres - uncertainty, MICROMETRES)
        farthest = round(metres + uncertainty, MICROMETRES)
        if farthest < self.first_m:
            return Whereabouts.BEFORE
        if nearest > self.last_m:
            return Whereabouts.BEYOND
        if self.first_m <= nearest and farthest <= self.last_m:
            return Whereabouts.INSIDE
        return Whereabouts.UNCLEAR


def zone_concerned(circumstances: Circumstances, book: Book) -> ZoneRule | None:
    """The zone of the take-over; None where nobody said which, and the relay's zones differ."""
    if circumstances.take_over is not None:
        return book.zone(circumstances.relay, circumstances.take_over)
    zones = set(book.zones[circumstances.relay].values())
    return zones.pop() if len(zones) == 1 else None


def baton_stretch(zone: ZoneRule) -> Stretch:
    """Where the baton may change hands."""
    return Stretch(0.0, zone.length_m, f"the zone of {zone.length_m:g} m")


def receiver_stretch(zone: ZoneRule) -> Stretch:
    """Where the receiver may wait and start: the zone, and an acceleration zone before it."""
    name = f"the zone of {zone.length_m:g} m"
    if zone.acceleration_m:
        name += f" and its acceleration zone of {zone.acceleration_m:g} m"
    return Stretch(-zone.acceleration_m, zone.length_m, name)


def metres_along(position: Position, concerned: Mark, zone: ZoneRule) -> float:
    """A position on the scale that counts from the start of the zone."""
    origin = {
        Mark.ZONE_START: 0.0,
        Mark.ZONE_END: zone.length_m,
        Mark.LEG_LINE: zone.leg_line_m,
        Mark.ACCELERATION_LINE: -zone.acceleration_m,
    }
    return round(origin[position.measured_from or concerned] + position.metres, MICROMETRES)


def describe(metres: float, uncertainty: float, stretch: Stretch) -> str:
    """A position in words, told from the nearer edge of the stretch."""
    from_start, from_end = metres - stretch.first_m, metres - stretch.last_m
    at_start = abs(from_start) <= abs(from_end)
    distance = from_start if at_start else from_end
    side = "past" if distance >= 0 else "short of"
    edge = "start" if at_start else "end"
    return f"{abs(distance):.2f} m {side} the {edge} of {stretch.name} (±{uncertainty:.2f} m)"

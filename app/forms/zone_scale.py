"""At which point on the paper does a distance along the zone stand?

One scale holds for everything on the picture: the zone, the leg line, the acceleration zone, the
observers' marks and their uncertainty. Distances run along the direction of running, from the
start of the zone (World Athletics TR24.3; IAAF Rule 170 (2012) for the acceleration zone). The
strokes are left to `zone_drawing`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

BEYOND_M = 5.0  # shown before and after the zone, so that a pass a few strides outside is seen
MOST_STEPS = 12
NUMBER_RADIUS = 4.8
RIM_LABEL = 95.0  # points that a mark at the rim takes with its distance
LONGEST_ZONE_M = 1000.0
FARTHEST_M = 9999.0


@dataclass(frozen=True, slots=True)
class ZoneMark:
    """A position of the baton that somebody saw; metres from the start of the zone."""

    label: str
    metres: float
    uncertainty: float
    note: str


@dataclass(frozen=True, slots=True)
class ZonePicture:
    """The zone of one take-over, in metres; an acceleration zone of 0 means that there is none.

    `name` is the take-over as people name it.
    """

    name: str
    length_m: float
    leg_line_m: float
    acceleration_m: float
    marks: tuple[ZoneMark, ...]


@dataclass(frozen=True, slots=True)
class Scale:
    """Turns metres into points on the paper, and holds them within the picture."""

    left: float
    right: float
    first_m: float
    last_m: float

    @property
    def points_per_metre(self) -> float:
        """One metre on the paper."""
        return (self.right - self.left) / (self.last_m - self.first_m)

    def x(self, metres: float) -> float:
        """Where a distance stands on the paper."""
        return self.left + (metres - self.first_m) * self.points_per_metre

    def shows(self, metres: float) -> bool:
        """Whether a distance lies inside the picture."""
        return self.first_m <= metres <= self.last_m

    def rim(self, metres: float) -> float:
        """Where a distance stands, or the edge of the picture that it lies behind."""
        return self.x(min(max(metres, self.first_m), self.last_m))


@dataclass(frozen=True, slots=True)
class PlacedMark:
    """A mark with its number and the step it stands on; step 0 is nearest the lane."""

    number: int
    mark: ZoneMark
    step: int


def make_scale(picture: ZonePicture, left: float, right: float) -> Scale:
    """The scale at which zone, acceleration zone and some metres around them fill the width."""
    first = -picture.acceleration_m - BEYOND_M
    return Scale(left, right, first, picture.length_m + BEYOND_M)


def can_draw(picture: ZonePicture) -> bool:
    """Whether the measures are those of a zone."""
    measures = (picture.length_m, picture.leg_line_m, picture.acceleration_m)
    return all(math.isfinite(measure) and measure >= 0 for measure in measures) and (
        0 < picture.length_m + picture.acceleration_m <= LONGEST_ZONE_M
    )


def place_marks(marks: Sequence[ZoneMark], scale: Scale, first: int = 1) -> list[PlacedMark]:
    """The marks that have a position, each on the lowest step where it covers no other."""
    numbered = [pair for pair in enumerate(marks, first) if math.isfinite(pair[1].metres)]
    # Marks at the rim come last, so that they stand above the stems of those inside.
    numbered.sort(key=lambda pair: (not scale.shows(pair[1].metres), pair[1].metres))
    placed: list[PlacedMark] = []
    for number, mark in numbered:
        free = (step for step in range(MOST_STEPS) if _is_free(step, mark, placed, scale))
        placed.append(PlacedMark(number, mark, next(free, number % MOST_STEPS)))
    return placed


def _is_free(step: int, mark: ZoneMark, placed: Sequence[PlacedMark], scale: Scale) -> bool:
    start, end = _reach(mark, scale)
    for other in placed:
        its_start, its_end = _reach(other.mark, scale)
        has_stem = scale.shows(other.mark.metres) and not scale.shows(mark.metres)
        in_the_way = other.step == step or (has_stem and other.step > step)
        if in_the_way and start <= its_end and its_start <= end:
            return False
    return True


def _reach(mark: ZoneMark, scale: Scale) -> tuple[float, float]:
    """From where to where a mark takes its step, in points."""
    if mark.metres > scale.last_m:
        return scale.right - RIM_LABEL, scale.right
    if mark.metres < scale.first_m:
        return scale.left, scale.left + RIM_LABEL
    half = abs(mark.uncertainty) if math.isfinite(mark.uncertainty) else 0.0
    middle = scale.x(mark.metres)
    start = min(scale.rim(mark.metres - half), middle - NUMBER_RADIUS)
    return start - 1.0, max(scale.rim(mark.metres + half), middle + NUMBER_RADIUS) + 1.0


def say_metres(metres: float) -> str:
    """A distance to the centimetre: "21.40 m", with a true minus sign before the zone."""
    if not math.isfinite(metres):
        return "not known"
    if abs(metres) > FARTHEST_M:
        return f"over {FARTHEST_M:.0f} m away"
    number = f"{abs(metres):.2f}"
    sign = "\u2212" if metres < 0 and number != "0.00" else ""
    return f"{sign}{number} m"

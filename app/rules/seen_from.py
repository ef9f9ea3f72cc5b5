"""What can an umpire see from which edge of a zone, and what does the rule book want to know of it?

A post watches one edge. What is measured from an edge is seen from there and not from 30 m away;
what can happen anywhere in the zone, or after it, is seen from either (common practice). Nobody is
kept from reporting what they saw from elsewhere: this says what is asked first. The facts of each
infringement stand in `observation.py`, and what follows from them in `finding.py`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from app.rules.observation import Infringement
from app.rules.relay import Edge

_START: Final = (Edge.START,)
_END: Final = (Edge.END,)
_EITHER: Final = (Edge.START, Edge.END)


class Asked(StrEnum):
    """The position that tells most about an infringement, and the edge it counts from."""

    BATON_FROM_START = "baton from start"
    BATON_FROM_END = "baton from end"
    FOOT_FROM_START = "foot from start"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Question:
    """A fact of an observation that is answered with yes, no or unsure, and how to ask for it."""

    fact: str
    words: str


@dataclass(frozen=True, slots=True)
class Sight:
    """From which edges an infringement is seen; the position, or else the questions, that its
    finding rests on. Where one question decides, it is the only one.
    """

    edges: tuple[Edge, ...]
    position: Asked = Asked.NONE
    questions: tuple[Question, ...] = ()


_SIGHTS: Final[Mapping[Infringement, Sight]] = MappingProxyType(
    {
        # Measured from the edge that the baton had not reached, or had passed.
        Infringement.PASS_BEGUN_BEFORE_ZONE: Sight(_START, Asked.BATON_FROM_START),
        Infringement.PASS_COMPLETED_BEFORE_ZONE: Sight(_START, Asked.BATON_FROM_START),
        Infringement.PASS_COMPLETED_BEYOND_ZONE: Sight(_END, Asked.BATON_FROM_END),
        # Receivers wait at the start of the zone, or in the older acceleration zone before it.
        Infringement.RECEIVER_WAITING_OUTSIDE: Sight(_START, Asked.FOOT_FROM_START),
        Infringement.RECEIVER_STARTING_OUTSIDE: Sight(_START, Asked.FOOT_FROM_START),
        Infringement.WAITING_ORDER_CHANGED: Sight(
            _START,
            questions=(
                Question("changed", "Did waiting runners change places?"),
                Question("order_fixed", "Were the incoming runners past their 200 m point?"),
            ),
        ),
        # A baton falls, and is fetched, anywhere; a person is helped or hindered anywhere.
        Infringement.DROPPED_BATON: Sight(
            _EITHER,
            questions=(
                Question("distance_shortened", "Did the runner shorten the distance?"),
                Question("other_team_impeded", "Was another team impeded?"),
            ),
        ),
        Infringement.OTHER_TEAMS_BATON: Sight(
            _EITHER,
            questions=(Question("taken", "Did the runner take another team's baton?"),),
        ),
        Infringement.HELP_GIVEN: Sight(
            _EITHER,
            questions=(Question("helped", "Was a runner pushed or helped?"),),
        ),
        # The incoming runner slows down in the zone or behind it, with both edges in view.
        Infringement.HINDERED_AFTER_PASS: Sight(
            _EITHER,
            questions=(Question("hindered", "Was another team hindered?"),),
        ),
        Infringement.ANOTHER_TEAM_OBSTRUCTED: Sight(
            _EITHER,
            questions=(
                Question("obstructed", "Was another team jostled, or impeded in its running?"),
            ),
        ),
        Infringement.LEFT_LANE_AFTER_PASS: Sight(
            _EITHER,
            questions=(
                Question("left_before_clear", "Did the runner leave the lane before it was clear?"),
                Question("hindered", "Was another team hindered?"),
            ),
        ),
        Infringement.BATON_NOT_IN_HAND: Sight(
            _EITHER,
            questions=(
                Question(
                    "carried_otherwise",
                    "Was the baton carried other than in the hand, or not at all?",
                ),
            ),
        ),
        # Lines run along the whole zone.
        Infringement.LANE_INFRINGEMENT: Sight(
            _EITHER,
            questions=(
                Question("on_bend", "Was it on a bend?"),
                Question("inner_line", "Was it the inner line of the lane?"),
            ),
        ),
    }
)


def seen_from(infringement: Infringement) -> Sight:
    """From where an infringement is seen, and what is asked about it."""
    return _SIGHTS[infringement]

"""What did an umpire see? The facts inside a report, one frozen class for each infringement.

The list follows section by section what umpires at a take-over look for (World Athletics TR24;
IAAF Rule 170 (2012); NFHS 5-10). Facts only: what a rule book makes of them is for `finding.py`.

What an umpire does not know is "unsure" or left out; nothing is guessed from it. The words of
the answers, and how positions are measured, stand in `facts.py`.

Every class is closed to fields it does not know, and `seen` tells the classes apart, so that a
web layer can read them from JSON as they are.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Final, Literal, TypeAlias

from app.rules.facts import (
    Closed,
    DropPlace,
    Fetcher,
    Holder,
    Mark,
    Means,
    Number,
    Position,
    Roll,
    Seen,
)

__all__ = [
    "AnotherTeamObstructed",
    "BatonNotInHand",
    "DropPlace",
    "DroppedBaton",
    "Fetcher",
    "HelpGiven",
    "HinderedAfterPass",
    "Holder",
    "Infringement",
    "LaneInfringement",
    "LeftLaneAfterPass",
    "Mark",
    "Observation",
    "OtherTeamsBaton",
    "PassBegunBeforeZone",
    "PassCompletedBeforeZone",
    "PassCompletedBeyondZone",
    "Position",
    "ReceiverStartingOutside",
    "ReceiverWaitingOutside",
    "Roll",
    "Seen",
    "WaitingOrderChanged",
]

MOST_STEPS: Final = 50


FROM_START: Final = Means("counted from the start of the zone: negative metres lie before it")
FROM_END: Final = Means("counted from the end of the zone: positive metres lie beyond it")


def _decides(question: str) -> Means:
    """The one fact that a finding rests on: left out, nobody can tell."""
    return Means(f"{question} Answer yes or no: without it the finding is “cannot tell”.")


class Infringement(StrEnum):
    """The infringements that a zone report can be about."""

    PASS_BEGUN_BEFORE_ZONE = "pass_begun_before_zone"
    PASS_COMPLETED_BEFORE_ZONE = "pass_completed_before_zone"
    PASS_COMPLETED_BEYOND_ZONE = "pass_completed_beyond_zone"
    RECEIVER_WAITING_OUTSIDE = "receiver_waiting_outside"
    RECEIVER_STARTING_OUTSIDE = "receiver_starting_outside"
    WAITING_ORDER_CHANGED = "waiting_order_changed"
    DROPPED_BATON = "dropped_baton"
    OTHER_TEAMS_BATON = "other_teams_baton"
    HELP_GIVEN = "help_given"
    HINDERED_AFTER_PASS = "hindered_after_pass"
    ANOTHER_TEAM_OBSTRUCTED = "another_team_obstructed"
    LEFT_LANE_AFTER_PASS = "left_lane_after_pass"
    BATON_NOT_IN_HAND = "baton_not_in_hand"
    LANE_INFRINGEMENT = "lane_infringement"


@dataclass(frozen=True, slots=True)
class PassBegunBeforeZone(Closed):
    """The receiver touched the baton short of the zone; `baton` is its leading end just then.

    `clearly` stands in where no position was taken: was it clearly short of the start?
    """

    seen: Literal["pass_begun_before_zone"] = "pass_begun_before_zone"
    baton: Annotated[Position | None, FROM_START] = None
    clearly: Seen = Seen.UNSURE
    touched: Seen = Seen.YES


@dataclass(frozen=True, slots=True)
class PassCompletedBeforeZone(Closed):
    """The receiver alone held the baton short of the zone.

    `baton` is its leading end when `held_by` held it; with "receiver", when that hand first held
    it alone. `clearly` stands in: was it clearly short of the start just then?
    """

    seen: Literal["pass_completed_before_zone"] = "pass_completed_before_zone"
    baton: Annotated[Position | None, FROM_START] = None
    clearly: Seen = Seen.UNSURE
    held_by: Holder = Holder.RECEIVER


@dataclass(frozen=True, slots=True)
class PassCompletedBeyondZone(Closed):
    """The receiver did not hold the baton alone before its leading end was past the zone.

    Fields as in `PassCompletedBeforeZone`; positions count from the end of the zone, and `clearly`
    asks: was it clearly past the end?
    """

    seen: Literal["pass_completed_beyond_zone"] = "pass_completed_beyond_zone"
    baton: Annotated[Position | None, FROM_END] = None
    clearly: Seen = Seen.UNSURE
    held_by: Holder = Holder.RECEIVER


@dataclass(frozen=True, slots=True)
class ReceiverWaitingOutside(Closed):
    """The receiver waited outside; `foot` is the point of contact farthest outside.

    `placed_by_official`: did an official put the runner there?
    """

    seen: Literal["receiver_waiting_outside"] = "receiver_waiting_outside"
    foot: Annotated[Position | None, FROM_START] = None
    clearly: Seen = Seen.UNSURE
    placed_by_official: Seen = Seen.NO


@dataclass(frozen=True, slots=True)
class ReceiverStartingOutside(Closed):
    """The receiver began to run outside; `foot` is the point of contact farthest outside."""

    seen: Literal["receiver_starting_outside"] = "receiver_starting_outside"
    foot: Annotated[Position | None, FROM_START] = None
    clearly: Seen = Seen.UNSURE
    placed_by_official: Seen = Seen.NO


@dataclass(frozen=True, slots=True)
class WaitingOrderChanged(Closed):
    """Waiting runners changed places; `order_fixed`: were the incoming past their 200 m point?"""

    seen: Literal["waiting_order_changed"] = "waiting_order_changed"
    changed: Seen = Seen.UNSURE
    order_fixed: Seen = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class DroppedBaton(Closed):
    """A baton fell, and was fetched or not. Editions ask for different ones of these facts."""

    seen: Literal["dropped_baton"] = "dropped_baton"
    held_by: Holder = Holder.UNSURE
    fetched_by: Fetcher = Fetcher.UNSURE
    distance_shortened: Seen = Seen.UNSURE
    other_team_impeded: Seen = Seen.UNSURE
    dropped_at: DropPlace = DropPlace.UNSURE
    went: Roll = Roll.UNSURE
    returned_to_drop_point: Seen = Seen.UNSURE
    fetched_from_inner_lane: Seen = Seen.UNSURE
    own_lane_first: Seen = Seen.UNSURE
    rolled_out_of_zone: Seen = Seen.UNSURE
    returned_into_zone: Seen = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class OtherTeamsBaton(Closed):
    """A runner took or picked up the baton of another team."""

    seen: Literal["other_teams_baton"] = "other_teams_baton"
    taken: Annotated[Seen, _decides("Did the runner take another team's baton?")] = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class HelpGiven(Closed):
    """A runner was pushed or helped in any other way."""

    seen: Literal["help_given"] = "help_given"
    helped: Annotated[Seen, _decides("Was a runner pushed or helped?")] = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class HinderedAfterPass(Closed):
    """A runner who had passed the baton hindered another team; `wilful` matters in old editions."""

    seen: Literal["hindered_after_pass"] = "hindered_after_pass"
    hindered: Seen = Seen.UNSURE
    wilful: Seen = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class AnotherTeamObstructed(Closed):
    """A runner with the baton, or about to get it, jostled another team or stood in its way."""

    seen: Literal["another_team_obstructed"] = "another_team_obstructed"
    obstructed: Annotated[
        Seen, _decides("Was another team jostled, or impeded in its running?")
    ] = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class LeftLaneAfterPass(Closed):
    """A runner left the own lane or course after passing, before it was clear."""

    seen: Literal["left_lane_after_pass"] = "left_lane_after_pass"
    left_before_clear: Seen = Seen.UNSURE
    hindered: Seen = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class BatonNotInHand(Closed):
    """The baton was carried other than in the hand, or not at all. A mere drop is another kind."""

    seen: Literal["baton_not_in_hand"] = "baton_not_in_hand"
    carried_otherwise: Annotated[
        Seen, _decides("Was the baton carried other than in the hand, or not at all?")
    ] = Seen.UNSURE


@dataclass(frozen=True, slots=True)
class LaneInfringement(Closed):
    """A runner stepped on or over a line of the lane; `steps` in a row, where counted."""

    seen: Literal["lane_infringement"] = "lane_infringement"
    on_bend: Seen = Seen.UNSURE
    inner_line: Seen = Seen.UNSURE
    steps: Number | None = None
    distance_gained: Seen = Seen.UNSURE
    other_team_impeded: Seen = Seen.UNSURE
    forced_out: Seen = Seen.NO

    def __post_init__(self) -> None:
        if self.steps is not None and not 1 <= self.steps <= MOST_STEPS:
            raise ValueError(
                f"Steps out of the lane are 1 to {MOST_STEPS}; leave them out when not counted."
            )


Observation: TypeAlias = (
    PassBegunBeforeZone
    | PassCompletedBeforeZone
    | PassCompletedBeyondZone
    | ReceiverWaitingOutside
    | ReceiverStartingOutside
    | WaitingOrderChanged
    | DroppedBaton
    | OtherTeamsBaton
    | HelpGiven
    | HinderedAfterPass
    | AnotherTeamObstructed
    | LeftLaneAfterPass
    | BatonNotInHand
    | LaneInfringement
)

"""What does the rule book of the day make of an observation?

`judge` answers with a finding: infringement, no infringement or cannot tell, with the reason and
the rule. A finding is a suggestion, never a decision; ruling is for people. The clauses are
carried out in `passing.py`, `waiting.py`, `dropping.py` and `conduct.py`; what differs between
editions stands in the books.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.rules.book import Book
from app.rules.book_parts import Consequence
from app.rules.conduct import (
    judge_baton_in_hand,
    judge_help,
    judge_hindered,
    judge_lane,
    judge_left_lane,
    judge_obstructed,
    judge_other_teams_baton,
)
from app.rules.dropping import judge_dropped_baton
from app.rules.observation import (
    AnotherTeamObstructed,
    BatonNotInHand,
    DroppedBaton,
    HelpGiven,
    HinderedAfterPass,
    Infringement,
    LaneInfringement,
    LeftLaneAfterPass,
    Observation,
    OtherTeamsBaton,
    PassBegunBeforeZone,
    PassCompletedBeforeZone,
    PassCompletedBeyondZone,
    ReceiverStartingOutside,
    ReceiverWaitingOutside,
    WaitingOrderChanged,
)
from app.rules.passing import judge_completed_before, judge_completed_beyond, judge_pass_begun
from app.rules.verdict import Circumstances, Outcome, Verdict
from app.rules.waiting import judge_receiver, judge_waiting_order

__all__ = [
    "Circumstances",
    "Consequence",
    "Finding",
    "Outcome",
    "consequence_of",
    "judge",
    "title_of",
]

_TITLES: Final[Mapping[Infringement, str]] = MappingProxyType(
    {
        Infringement.PASS_BEGUN_BEFORE_ZONE: "Pass begun before the take-over zone",
        Infringement.PASS_COMPLETED_BEFORE_ZONE: "Pass completed before the take-over zone",
        Infringement.PASS_COMPLETED_BEYOND_ZONE: "Pass completed beyond the take-over zone",
        Infringement.RECEIVER_WAITING_OUTSIDE: "Receiver waiting outside the permitted stretch",
        Infringement.RECEIVER_STARTING_OUTSIDE: "Receiver starting outside the permitted stretch",
        Infringement.WAITING_ORDER_CHANGED: "Waiting order changed",
        Infringement.DROPPED_BATON: "Dropped baton fetched against the rule",
        Infringement.OTHER_TEAMS_BATON: "Baton of another team taken",
        Infringement.HELP_GIVEN: "Runner pushed or helped",
        Infringement.HINDERED_AFTER_PASS: "Another team hindered after the pass",
        Infringement.ANOTHER_TEAM_OBSTRUCTED: "Another team obstructed",
        Infringement.LEFT_LANE_AFTER_PASS: "Own lane or course left after the pass before it was "
        "clear",
        Infringement.BATON_NOT_IN_HAND: "Baton not carried in the hand",
        Infringement.LANE_INFRINGEMENT: "Lane infringement",
    }
)


@dataclass(frozen=True, slots=True)
class Finding:
    """What an edition makes of an observation.

    `infringement` can differ from the kind reported, where the facts show another one: a baton
    that both held short of the zone was a pass begun there. `edition` is the key of the book.
    """

    outcome: Outcome
    infringement: Infringement
    reason: str
    rule: str
    consequence: Consequence
    edition: str


def judge(observation: Observation, circumstances: Circumstances, book: Book) -> Finding:
    """The finding of this edition; answers for every observation and never raises."""
    verdict = _verdict(observation, circumstances, book)
    return Finding(
        outcome=verdict.outcome,
        infringement=verdict.infringement,
        reason=verdict.reason,
        rule=book.reference(verdict.infringement),
        consequence=_consequence(verdict, circumstances, book),
        edition=book.key,
    )


def consequence_of(
    infringement: Infringement, book: Book, earlier_lane_infringements: int
) -> Consequence:
    """What a confirmed infringement puts on the result.

    Lane infringements up to the edition's number are only noted; earlier ones count per team over
    all rounds (World Athletics, since 1 Nov 2021).
    """
    is_lane = infringement is Infringement.LANE_INFRINGEMENT
    if is_lane and earlier_lane_infringements < book.tolerated_lane_infringements:
        return Consequence.NOTED
    return book.infringements[infringement].consequence


def title_of(infringement: Infringement) -> str:
    """The infringement in plain words."""
    return _TITLES[infringement]


def _consequence(verdict: Verdict, circumstances: Circumstances, book: Book) -> Consequence:
    if verdict.outcome is not Outcome.INFRINGEMENT:
        return Consequence.NONE
    earlier = circumstances.earlier_lane_infringements
    return verdict.consequence or consequence_of(verdict.infringement, book, earlier)


def _verdict(observation: Observation, circumstances: Circumstances, book: Book) -> Verdict:
    match observation:
        case PassBegunBeforeZone():
            return judge_pass_begun(observation, circumstances, book)
        case PassCompletedBeforeZone():
            return judge_completed_before(observation, circumstances, book)
        case PassCompletedBeyondZone():
            return judge_completed_beyond(observation, circumstances, book)
        case ReceiverWaitingOutside() | ReceiverStartingOutside():
            return judge_receiver(observation, circumstances, book)
        case WaitingOrderChanged():
            return judge_waiting_order(observation, circumstances, book)
        case DroppedBaton():
            return judge_dropped_baton(observation, circumstances, book)
        case OtherTeamsBaton():
            return judge_other_teams_baton(observation, circumstances, book)
        case HelpGiven():
            return judge_help(observation, circumstances, book)
        case HinderedAfterPass():
            return judge_hindered(observation, circumstances, book)
        case AnotherTeamObstructed():
            return judge_obstructed(observation, circumstances, book)
        case LeftLaneAfterPass():
            return judge_left_lane(observation, circumstances, book)
        case BatonNotInHand():
            return judge_baton_in_hand(observation, circumstances, book)
        case LaneInfringement():
            return judge_lane(observation, circumstances, book)

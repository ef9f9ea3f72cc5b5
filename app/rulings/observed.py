"""What did an umpire observe, in the sentences that an official would say?

One function for each kind of observation. Where nothing was answered, nothing is said; whether
the very thing that the report is about happened is said to be not seen where it is not known.
What a rule book makes of it stands in the finding.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from app.forms.zone_scale import say_metres
from app.rules.observation import (
    AnotherTeamObstructed,
    BatonNotInHand,
    DroppedBaton,
    DropPlace,
    Fetcher,
    HelpGiven,
    HinderedAfterPass,
    Holder,
    Infringement,
    LaneInfringement,
    LeftLaneAfterPass,
    Mark,
    Observation,
    OtherTeamsBaton,
    PassBegunBeforeZone,
    PassCompletedBeforeZone,
    PassCompletedBeyondZone,
    Position,
    ReceiverStartingOutside,
    ReceiverWaitingOutside,
    Roll,
    Seen,
    WaitingOrderChanged,
)

MARKS = {
    Mark.ZONE_START: "the start of the zone",
    Mark.ZONE_END: "the end of the zone",
    Mark.LEG_LINE: "the leg line",
    Mark.ACCELERATION_LINE: "the line of the acceleration zone",
}
HOLDERS = {
    Holder.INCOMING: "only the incoming runner held the baton",
    Holder.RECEIVER: "only the receiver held the baton",
    Holder.BOTH: "both runners held the baton",
}
DROPPED_FROM = {
    Holder.INCOMING: "The incoming runner dropped the baton",
    Holder.RECEIVER: "The receiver dropped the baton",
    Holder.BOTH: "While both runners held it, the baton fell",
    Holder.UNSURE: "The baton fell",
}
DROPPED_AT = {
    DropPlace.INSIDE_ZONE: " inside the zone",
    DropPlace.OUTSIDE_ZONE: " outside the zone during the pass",
    DropPlace.ON_THE_LEG: " away from the zone",
    DropPlace.UNSURE: "",
}
FETCHED_BY = {
    Fetcher.INCOMING: "The incoming runner fetched it.",
    Fetcher.RECEIVER: "The receiver fetched it.",
    Fetcher.SOMEBODY_ELSE: "Somebody else fetched it.",
    Fetcher.NOBODY: "Nobody fetched it.",
    Fetcher.UNSURE: "Who fetched it was not seen.",
}
WENT = {
    Roll.SIDEWAYS_OR_FORWARD: ["It went sideways or forward."],
    Roll.BACKWARD: ["It went backward."],
    Roll.UNSURE: [],
}


def tell(observation: Observation) -> str:
    """The observation in sentences, empty where nothing was answered."""
    return " ".join(_SENTENCES[Infringement(observation.seen)](observation))


def _say(answer: Seen, yes: str, no: str, unsure: str = "") -> Iterator[str]:
    words = {Seen.YES: yes, Seen.NO: no, Seen.UNSURE: unsure}[answer]
    if words:
        yield words


def _place(position: Position, concerned: Mark) -> str:
    mark, error = MARKS[position.measured_from or concerned], say_metres(position.uncertainty)
    if position.metres == 0:
        return f"at {mark} (±{error})"
    side = "past" if position.metres > 0 else "short of"
    return f"{say_metres(abs(position.metres))} (±{error}) {side} {mark}"


def _pass_begun(seen: PassBegunBeforeZone) -> Iterator[str]:
    if seen.touched is Seen.NO:
        yield "The receiver did not touch the baton there."
    if seen.touched is Seen.UNSURE:
        yield "Whether the receiver touched the baton there was not seen."
    if seen.baton is not None:
        where = _place(seen.baton, Mark.ZONE_START)
        yield f"When the receiver first touched the baton, its leading end was {where}."
    yield from _say(
        seen.clearly,
        "The first touch was clearly short of the zone.",
        "The first touch was not clearly short of the zone.",
    )


def _completed_before(seen: PassCompletedBeforeZone) -> Iterator[str]:
    yield from _completed(seen, Mark.ZONE_START, "short of the zone")


def _completed_beyond(seen: PassCompletedBeyondZone) -> Iterator[str]:
    yield from _completed(seen, Mark.ZONE_END, "past the zone")


def _completed(
    seen: PassCompletedBeforeZone | PassCompletedBeyondZone, concerned: Mark, outside: str
) -> Iterator[str]:
    held = HOLDERS.get(seen.held_by)
    if seen.baton is not None:
        where = _place(seen.baton, concerned)
        yield f"When {held}, its leading end was {where}." if held else f"The baton was {where}."
    if held is None:
        yield "Who held the baton there was not seen."
    elif seen.baton is None and seen.clearly is Seen.UNSURE and seen.held_by is not Holder.RECEIVER:
        yield f"There, {held}."
    yield from _say(
        seen.clearly,
        f"When {held or 'it was passed'}, it was clearly {outside}.",
        f"When {held or 'it was passed'}, it was not clearly {outside}.",
    )


def _waiting_outside(seen: ReceiverWaitingOutside) -> Iterator[str]:
    yield from _receiver(seen, "waited", "waiting")


def _starting_outside(seen: ReceiverStartingOutside) -> Iterator[str]:
    yield from _receiver(seen, "began to run", "beginning to run")


def _receiver(
    seen: ReceiverWaitingOutside | ReceiverStartingOutside, did: str, doing: str
) -> Iterator[str]:
    if seen.foot is not None:
        yield f"The receiver {did} with a foot {_place(seen.foot, Mark.ZONE_START)}."
    yield from _say(
        seen.clearly,
        f"When {doing}, the receiver was clearly outside.",
        f"When {doing}, the receiver was not clearly outside.",
    )
    yield from _say(
        seen.placed_by_official,
        "An official had put the runner there.",
        "No official had put the runner there.",
        "Whether an official had put the runner there was not seen.",
    )


def _waiting_order(seen: WaitingOrderChanged) -> Iterator[str]:
    yield from _say(
        seen.changed,
        "Waiting runners changed places.",
        "No waiting runner changed places.",
        "Whether waiting runners changed places was not seen.",
    )
    yield from _say(
        seen.order_fixed,
        "Their team-mates had passed the 200 m point by then.",
        "Their team-mates had not passed the 200 m point by then.",
        "Whether their team-mates had passed the 200 m point by then was not seen.",
    )


def _dropped(seen: DroppedBaton) -> Iterator[str]:
    yield f"{DROPPED_FROM[seen.held_by]}{DROPPED_AT[seen.dropped_at]}."
    if seen.held_by is Holder.UNSURE:
        yield "Who held it last was not seen."
    yield from WENT[seen.went]
    yield FETCHED_BY[seen.fetched_by]
    yield from _say(
        seen.distance_shortened,
        "The distance to run was shortened.",
        "The distance to run was not shortened.",
    )
    yield from _impeded(seen.other_team_impeded)
    yield from _say(
        seen.returned_to_drop_point,
        "The runner went back to where the baton was last in the hand.",
        "The runner did not go back to where the baton was last in the hand.",
    )
    yield from _say(
        seen.fetched_from_inner_lane,
        "The baton was fetched from an inner lane.",
        "The baton was not fetched from an inner lane.",
    )
    yield from _say(
        seen.own_lane_first,
        "The runner came back to the own lane before running on.",
        "The runner did not come back to the own lane before running on.",
    )
    yield from _say(
        seen.rolled_out_of_zone,
        "The baton rolled out of the zone.",
        "The baton did not roll out of the zone.",
    )
    yield from _say(
        seen.returned_into_zone,
        "The baton was brought back into the zone.",
        "The baton was not brought back into the zone.",
    )


def _impeded(answer: Seen) -> Iterator[str]:
    yield from _say(answer, "Another team was impeded.", "No other team was impeded.")


def _hindered(answer: Seen, unsure: str = "") -> Iterator[str]:
    yield from _say(answer, "Another team was hindered.", "No other team was hindered.", unsure)


def _other_baton(seen: OtherTeamsBaton) -> Iterator[str]:
    yield from _say(
        seen.taken,
        "A runner took the baton of another team.",
        "No runner took the baton of another team.",
        "Whether a runner took the baton of another team was not seen.",
    )


def _help(seen: HelpGiven) -> Iterator[str]:
    yield from _say(
        seen.helped,
        "A runner was pushed or helped in another way.",
        "No runner was pushed or helped.",
        "Whether a runner was pushed or helped was not seen.",
    )


def _hindering(seen: HinderedAfterPass) -> Iterator[str]:
    yield from _hindered(
        seen.hindered, "Whether another team was hindered after the pass was not seen."
    )
    yield from _say(
        seen.wilful, "The runner did so on purpose.", "The runner did not do so on purpose."
    )


def _obstructing(seen: AnotherTeamObstructed) -> Iterator[str]:
    yield from _say(
        seen.obstructed,
        "Another team was jostled or impeded in its running.",
        "No other team was jostled or impeded in its running.",
        "Whether another team was jostled or impeded in its running was not seen.",
    )


def _left_lane(seen: LeftLaneAfterPass) -> Iterator[str]:
    yield from _say(
        seen.left_before_clear,
        "After the pass the runner left the own lane or course before it was clear.",
        "After the pass the runner kept to the own lane or course until it was clear.",
        "Whether the runner left the own lane or course before it was clear was not seen.",
    )
    yield from _hindered(seen.hindered)


def _not_in_hand(seen: BatonNotInHand) -> Iterator[str]:
    yield from _say(
        seen.carried_otherwise,
        "The baton was carried other than in the hand, or not at all.",
        "The baton was carried in the hand.",
        "Whether the baton was carried in the hand was not seen.",
    )


def _lane(seen: LaneInfringement) -> Iterator[str]:
    line = {Seen.YES: "the inner line", Seen.NO: "the outer line", Seen.UNSURE: "a line"}
    place = {Seen.YES: " on a bend", Seen.NO: " on a straight", Seen.UNSURE: ""}
    steps = {None: "stepped", 1: "took one step"}.get(
        seen.steps, f"took {seen.steps} steps in a row"
    )
    where = f"{line[seen.inner_line]} of the lane{place[seen.on_bend]}"
    yield f"The runner {steps} on or over {where}."
    yield from _say(
        seen.distance_gained, "The runner gained distance.", "The runner gained no distance."
    )
    yield from _impeded(seen.other_team_impeded)
    yield from _say(
        seen.forced_out,
        "The runner was forced out of the lane.",
        "Nobody forced the runner out of the lane.",
        "Whether the runner was forced out of the lane was not seen.",
    )


_SENTENCES: Mapping[Infringement, Callable[[Any], Iterator[str]]] = {
    Infringement.PASS_BEGUN_BEFORE_ZONE: _pass_begun,
    Infringement.PASS_COMPLETED_BEFORE_ZONE: _completed_before,
    Infringement.PASS_COMPLETED_BEYOND_ZONE: _completed_beyond,
    Infringement.RECEIVER_WAITING_OUTSIDE: _waiting_outside,
    Infringement.RECEIVER_STARTING_OUTSIDE: _starting_outside,
    Infringement.WAITING_ORDER_CHANGED: _waiting_order,
    Infringement.DROPPED_BATON: _dropped,
    Infringement.OTHER_TEAMS_BATON: _other_baton,
    Infringement.HELP_GIVEN: _help,
    Infringement.HINDERED_AFTER_PASS: _hindering,
    Infringement.ANOTHER_TEAM_OBSTRUCTED: _obstructing,
    Infringement.LEFT_LANE_AFTER_PASS: _left_lane,
    Infringement.BATON_NOT_IN_HAND: _not_in_hand,
    Infringement.LANE_INFRINGEMENT: _lane,
}

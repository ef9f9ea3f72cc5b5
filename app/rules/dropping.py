"""Was a dropped baton fetched by the right runner, and without gain?

A drop alone is no infringement (World Athletics TR24.6, IAAF Rule 170.6). What an edition asks of
the runner who fetches the baton stands in its book under `dropped_baton`; until 31 Oct 2025 it
went back to where it was last in the hand, from 1 Nov 2025 one fetched from an inner lane comes
back to the own lane first (press accounts of the change); NFHS 5-10 lets either runner fetch one
that fell inside the zone, and wants it brought back there (state association, 16 May 2023).
"""

from collections.abc import Iterator

from app.rules.book import Book
from app.rules.book_parts import DroppedBatonRule, ReturnPoint
from app.rules.observation import DroppedBaton, DropPlace, Fetcher, Holder, Infringement, Roll, Seen
from app.rules.verdict import Circumstances, Question, Verdict, answer_all, clears, opposite

RUNNERS = frozenset({Fetcher.INCOMING, Fetcher.RECEIVER})


def judge_dropped_baton(
    observation: DroppedBaton, circumstances: Circumstances, book: Book
) -> Verdict:
    """World Athletics TR24.6; IAAF Rule 170.6; NFHS 5-10. The relay makes no difference."""
    kind = Infringement.DROPPED_BATON
    rule = book.dropped_baton
    questions = [*_drop_outside(observation, rule)]
    if observation.fetched_by is Fetcher.NOBODY:
        cleared = "Nobody fetched it; a finish without it is reported as a baton not in the hand."
        return answer_all(kind, questions, cleared) if questions else clears(kind, cleared)
    questions += _fetching(observation, rule)
    questions += _coming_back(observation, rule)
    return answer_all(
        kind,
        questions,
        "The baton was fetched by a runner who may, without gain or hindrance: "
        "a drop alone is no infringement.",
    )


def _drop_outside(observation: DroppedBaton, rule: DroppedBatonRule) -> Iterator[Question]:
    """NFHS: a baton dropped outside the zone during the pass infringes in itself."""
    if rule.infringes_outside_zone:
        answer = {DropPlace.OUTSIDE_ZONE: Seen.YES, DropPlace.UNSURE: Seen.UNSURE}
        yield Question(
            answer.get(observation.dropped_at, Seen.NO),
            "the baton was dropped outside the zone during the pass",
            "whether the baton fell inside the zone",
        )


def _fetching(observation: DroppedBaton, rule: DroppedBatonRule) -> Iterator[Question]:
    """The right runner, no distance shortened, nobody impeded: the same in every edition."""
    yield Question(
        _fetched_wrongly(observation, rule),
        f"the {observation.fetched_by} fetched the baton and was not allowed to",
        "who dropped the baton and who fetched it",
    )
    yield Question(
        observation.distance_shortened,
        "the distance was shortened",
        "whether the distance was shortened",
    )
    yield Question(
        observation.other_team_impeded,
        "another team was impeded",
        "whether another team was impeded",
    )


def _fetched_wrongly(observation: DroppedBaton, rule: DroppedBatonRule) -> Seen:
    """Whether the baton was fetched by a runner who may not."""
    if observation.fetched_by is Fetcher.SOMEBODY_ELSE:
        return Seen.YES
    allowed = _allowed(observation, rule)
    if observation.fetched_by is Fetcher.UNSURE or allowed is None:
        return Seen.UNSURE
    return Seen.NO if observation.fetched_by in allowed else Seen.YES


def _allowed(observation: DroppedBaton, rule: DroppedBatonRule) -> frozenset[Fetcher] | None:
    """Who may fetch it; None while that hangs on something unknown."""
    inside = observation.dropped_at is DropPlace.INSIDE_ZONE
    if inside and rule.either_when_dropped_inside_zone:
        return RUNNERS
    if observation.held_by is Holder.BOTH:
        return RUNNERS if rule.either_when_both_held else None
    if observation.held_by is Holder.UNSURE:
        return None
    return _only_dropper(observation, rule)


def _only_dropper(observation: DroppedBaton, rule: DroppedBatonRule) -> frozenset[Fetcher] | None:
    """The one who dropped it, unless an unknown place may let the other one fetch it too."""
    dropper = Fetcher(observation.held_by)
    place_may_allow = (
        rule.either_when_dropped_inside_zone and observation.dropped_at is DropPlace.UNSURE
    )
    if place_may_allow and observation.fetched_by is not dropper:
        return None
    return frozenset({dropper})


def _coming_back(observation: DroppedBaton, rule: DroppedBatonRule) -> Iterator[Question]:
    """Where the race goes on: what the edition asks, and nothing else."""
    if rule.return_point is not ReturnPoint.NOT_ASKED:
        yield Question(
            _missed(_return_due(observation, rule), observation.returned_to_drop_point),
            "the runner did not return to where the baton was last in the hand",
            "which way the baton went and whether the runner returned to where it was last held",
        )
    if rule.own_lane_first:
        yield Question(
            _missed(observation.fetched_from_inner_lane, observation.own_lane_first),
            "the baton was fetched from an inner lane and not brought back to the own lane first",
            "whether the baton lay in an inner lane and came back to the own lane first",
        )
    if rule.back_into_zone:
        yield Question(
            _missed(_zone_due(observation), observation.returned_into_zone),
            "the baton rolled out of the zone and was not brought back into it",
            "whether the baton rolled out of the zone and was brought back into it",
        )


def _return_due(observation: DroppedBaton, rule: DroppedBatonRule) -> Seen:
    if rule.return_point is ReturnPoint.ALWAYS:
        return Seen.YES
    return {Roll.SIDEWAYS_OR_FORWARD: Seen.YES, Roll.BACKWARD: Seen.NO, Roll.UNSURE: Seen.UNSURE}[
        observation.went
    ]


def _zone_due(observation: DroppedBaton) -> Seen:
    """Only a baton that fell inside the zone has to be brought back into it."""
    if observation.dropped_at in (DropPlace.ON_THE_LEG, DropPlace.OUTSIDE_ZONE):
        return Seen.NO
    return observation.rolled_out_of_zone


def _missed(due: Seen, done: Seen) -> Seen:
    """Whether something that was due was not done."""
    if due is Seen.NO or done is Seen.YES:
        return Seen.NO
    return opposite(done) if due is Seen.YES else Seen.UNSURE

"""Was the pass begun and completed in the zone? The position of the baton alone decides.

A pass begins at the receiver's first touch and is completed when only the receiver holds the
baton (World Athletics TR24.7, IAAF Rule 170.7 (2012), NFHS 5-10). Common practice reads this so:
first touch with the leading end of the baton past the start is in order even while both runners
are outside; sole possession with the baton short of the start, or with its leading end past the
end, is not; a baton still held by both inside the zone has done nothing yet.
"""

from dataclasses import dataclass, replace

from app.rules.book import Book
from app.rules.observation import (
    Holder,
    Infringement,
    Mark,
    PassBegunBeforeZone,
    PassCompletedBeforeZone,
    PassCompletedBeyondZone,
    Position,
    Seen,
)
from app.rules.verdict import Circumstances, Verdict, clears, infringes, leaves_open
from app.rules.whereabouts import (
    Stretch,
    Whereabouts,
    baton_stretch,
    describe,
    metres_along,
    zone_concerned,
)

BEGUN_BEFORE = Infringement.PASS_BEGUN_BEFORE_ZONE
COMPLETED_BEFORE = Infringement.PASS_COMPLETED_BEFORE_ZONE
COMPLETED_BEYOND = Infringement.PASS_COMPLETED_BEYOND_ZONE


@dataclass(frozen=True, slots=True)
class BatonPlace:
    """Where the baton was, the same in words, and the mark that it was measured from."""

    whereabouts: Whereabouts
    words: str
    mark: Mark


def judge_pass_begun(
    observation: PassBegunBeforeZone, circumstances: Circumstances, book: Book
) -> Verdict:
    """The first touch must find the leading end of the baton past the start of the zone.

    World Athletics TR24.7; IAAF Rule 170.7; NFHS 5-10.
    """
    if observation.touched is Seen.NO:
        return clears(BEGUN_BEFORE, "The receiver did not touch the baton, so no pass began there.")
    if observation.touched is Seen.UNSURE:
        return leaves_open(BEGUN_BEFORE, "Not known: whether the receiver touched the baton there.")
    if observation.baton is None:
        return _by_word(observation.clearly, BEGUN_BEFORE, "at first touch")
    place = _place(observation.baton, Mark.ZONE_START, circumstances, book)
    if _contradicts(observation.clearly, place, Whereabouts.BEFORE):
        return _look_at_sign(_contradiction(BEGUN_BEFORE, place), place, Whereabouts.BEFORE)
    return _look_at_sign(_verdict_on_touch(place), place, Whereabouts.BEFORE)


def _verdict_on_touch(place: BatonPlace) -> Verdict:
    words = f"At first touch the leading end of the baton was {place.words}."
    match place.whereabouts:
        case Whereabouts.BEFORE:
            return infringes(BEGUN_BEFORE, f"{words} The pass began before the zone.")
        case Whereabouts.BEYOND:
            return infringes(
                COMPLETED_BEYOND, f"{words} A pass begun there is completed beyond the zone."
            )
        case Whereabouts.INSIDE:
            return clears(BEGUN_BEFORE, f"{words} The pass began in the zone.")
        case Whereabouts.UNCLEAR:
            return leaves_open(BEGUN_BEFORE, _unclear(place, "at first touch"))


def judge_completed_before(
    observation: PassCompletedBeforeZone, circumstances: Circumstances, book: Book
) -> Verdict:
    """The receiver alone must not hold the baton short of the start.

    World Athletics TR24.7; IAAF Rule 170.7; NFHS 5-10. A baton that both hold there has been
    touched there: that is a pass begun before the zone.
    """
    if observation.held_by is Holder.BOTH:
        touch = PassBegunBeforeZone(baton=observation.baton, clearly=observation.clearly)
        return judge_pass_begun(touch, circumstances, book)
    if observation.baton is None:
        return _completion_by_word(observation.clearly, observation.held_by, COMPLETED_BEFORE)
    place = _place(observation.baton, Mark.ZONE_START, circumstances, book)
    if _contradicts(observation.clearly, place, Whereabouts.BEFORE):
        return _look_at_sign(_contradiction(COMPLETED_BEFORE, place), place, Whereabouts.BEFORE)
    verdict = _verdict_on_completion(observation.held_by, place, COMPLETED_BEFORE)
    return _look_at_sign(verdict, place, Whereabouts.BEFORE)


def judge_completed_beyond(
    observation: PassCompletedBeyondZone, circumstances: Circumstances, book: Book
) -> Verdict:
    """The receiver must hold the baton alone before its leading end is past the end.

    World Athletics TR24.7; IAAF Rule 170.7; NFHS 5-10.
    """
    if observation.baton is None:
        return _completion_by_word(observation.clearly, observation.held_by, COMPLETED_BEYOND)
    place = _place(observation.baton, Mark.ZONE_END, circumstances, book)
    if _contradicts(observation.clearly, place, Whereabouts.BEYOND):
        return _look_at_sign(_contradiction(COMPLETED_BEYOND, place), place, Whereabouts.BEYOND)
    verdict = _verdict_on_completion(observation.held_by, place, COMPLETED_BEYOND)
    return _look_at_sign(verdict, place, Whereabouts.BEYOND)


def _verdict_on_completion(holder: Holder, place: BatonPlace, kind: Infringement) -> Verdict:
    """What a place means depends on who held the baton there."""
    if place.whereabouts is Whereabouts.UNCLEAR:
        return leaves_open(kind, _unclear(place, _ALONE))
    if holder is Holder.UNSURE:
        return leaves_open(
            kind, f"The baton was {place.words}. Not known: whether only the receiver held it."
        )
    if holder is Holder.RECEIVER:
        return _verdict_on_sole_possession(place, kind)
    return _verdict_before_completion(place, kind)


def _verdict_on_sole_possession(place: BatonPlace, kind: Infringement) -> Verdict:
    words = f"When only the receiver held the baton, its leading end was {place.words}."
    if place.whereabouts is Whereabouts.BEFORE:
        return infringes(COMPLETED_BEFORE, f"{words} The pass was completed before the zone.")
    if place.whereabouts is Whereabouts.BEYOND:
        return infringes(COMPLETED_BEYOND, f"{words} The pass was completed beyond the zone.")
    return clears(kind, f"{words} The pass was completed in the zone.")


def _verdict_before_completion(place: BatonPlace, kind: Infringement) -> Verdict:
    words = f"The baton was {place.words} and the incoming runner still had a hand on it."
    if place.whereabouts is Whereabouts.BEYOND:
        return infringes(
            COMPLETED_BEYOND, f"{words} From there a pass can only be completed beyond the zone."
        )
    if kind is COMPLETED_BEFORE:
        return clears(kind, f"{words} The pass was not completed there.")
    return leaves_open(
        kind, f"{words} Nothing had happened yet: say where only the receiver held it."
    )


_ALONE = "when only the receiver held it"


def _place(
    position: Position, concerned: Mark, circumstances: Circumstances, book: Book
) -> BatonPlace:
    zone = zone_concerned(circumstances, book)
    mark = position.measured_from or concerned
    if zone is None:
        return BatonPlace(Whereabouts.UNCLEAR, "near a zone, but the take-over is not said", mark)
    stretch: Stretch = baton_stretch(zone)
    metres = metres_along(position, concerned, zone)
    return BatonPlace(
        stretch.locate(metres, position.uncertainty),
        describe(metres, position.uncertainty, stretch),
        mark,
    )


def _by_word(clearly: Seen, kind: Infringement, moment: str) -> Verdict:
    """Without metres the umpire's word on a clear case stands; a doubt stays one."""
    side = "past the end" if kind is COMPLETED_BEYOND else "short of the start"
    if clearly is Seen.YES:
        return infringes(kind, f"By the umpire's word the baton was clearly {side} {moment}.")
    if clearly is Seen.NO:
        return clears(kind, f"By the umpire's word the baton was not {side} {moment}.")
    return leaves_open(
        kind,
        f"Not known: where the baton was {moment}. Give metres from a mark, "
        f"or say whether it was clearly {side}.",
    )


def _completion_by_word(clearly: Seen, holder: Holder, kind: Infringement) -> Verdict:
    """Without metres too, who held the baton decides what its place means.

    With the incoming runner's hand on it a pass is not completed before the zone, wherever that
    was; past the end it can only be completed beyond.
    """
    if holder is Holder.RECEIVER:
        return _by_word(clearly, kind, _ALONE)
    if holder is Holder.UNSURE:
        return leaves_open(kind, "Not known: whether only the receiver held the baton.")
    words = "The incoming runner still had a hand on the baton"
    if kind is COMPLETED_BEFORE:
        return clears(kind, f"{words}: the pass was not completed there.")
    if clearly is Seen.YES:
        return infringes(
            kind,
            f"By the umpire's word the baton was clearly past the end. {words}: from there a pass "
            "can only be completed beyond the zone.",
        )
    return leaves_open(
        kind, f"{words}, not clearly past the end: say where only the receiver held it."
    )


def _contradicts(clearly: Seen, place: BatonPlace, outside: Whereabouts) -> bool:
    """Whether the umpire's word and the metres say opposite things."""
    if clearly is Seen.YES:
        return place.whereabouts is Whereabouts.INSIDE
    return clearly is Seen.NO and place.whereabouts is outside


def _contradiction(kind: Infringement, place: BatonPlace) -> Verdict:
    return leaves_open(
        kind,
        f"The report contradicts itself: its metres put the baton {place.words}, "
        "its words say the opposite. Ask the umpire.",
    )


def _look_at_sign(verdict: Verdict, place: BatonPlace, said: Whereabouts) -> Verdict:
    """Where the metres put the baton elsewhere than the report says, the sign may be the slip."""
    if place.whereabouts in {said, Whereabouts.UNCLEAR}:
        return verdict
    hint = (
        f"But the report says “{said} the zone”. Metres short of the {place.mark} have a minus "
        "sign, metres past it have none: ask the umpire whether the sign is right."
    )
    return replace(verdict, reason=f"{verdict.reason} {hint}")


def _unclear(place: BatonPlace, moment: str) -> str:
    return f"The baton was {place.words} {moment}: that does not tell on which side of the edge."

"""Did the receiver wait and start where that is allowed, and in the right order?

World Athletics TR24.19 and TR24.20; IAAF Rule 170.7 to 170.9 (2012); NFHS 5-10. Under the older
rule the acceleration zone counts here, and only here: a foot on its line is inside, a foot over
it is not (common practice).
"""

from app.rules.book import Book
from app.rules.observation import (
    Infringement,
    Mark,
    ReceiverStartingOutside,
    ReceiverWaitingOutside,
    Seen,
    WaitingOrderChanged,
)
from app.rules.relay import Relay
from app.rules.track import in_lanes_on_oval
from app.rules.verdict import (
    Circumstances,
    Outcome,
    Question,
    Verdict,
    answer_all,
    as_seen,
    clears,
    infringes,
    leaves_open,
)
from app.rules.whereabouts import (
    Whereabouts,
    describe,
    metres_along,
    receiver_stretch,
    zone_concerned,
)


def judge_receiver(
    observation: ReceiverWaitingOutside | ReceiverStartingOutside,
    circumstances: Circumstances,
    book: Book,
) -> Verdict:
    """The receiver waits and starts wholly inside the zone, or the older acceleration zone.

    World Athletics TR24.19; IAAF Rule 170.7, 170.8; NFHS 5-10. Where an official put the runner
    there, the team may not have to answer for it: at Tokyo 2020, mixed 4x400 m heat of 30 Jul
    2021, the jury reinstated such teams. That is for the referee, so it is left open.
    """
    kind = Infringement(observation.seen)
    verdict = _judge_foot(observation, kind, circumstances, book)
    if observation.placed_by_official is Seen.YES and verdict.outcome is Outcome.INFRINGEMENT:
        return leaves_open(
            kind, f"{verdict.reason} But an official put the runner there: the referee decides."
        )
    return verdict


def _judge_foot(
    observation: ReceiverWaitingOutside | ReceiverStartingOutside,
    kind: Infringement,
    circumstances: Circumstances,
    book: Book,
) -> Verdict:
    foot, zone = observation.foot, zone_concerned(circumstances, book)
    if foot is None:
        return _by_word(observation.clearly, kind)
    if zone is None:
        return leaves_open(kind, "Not known: which take-over it was, and the zones differ.")
    stretch = receiver_stretch(zone)
    metres = metres_along(foot, Mark.ZONE_START, zone)
    words = f"The receiver's foot was {describe(metres, foot.uncertainty, stretch)}."
    return _weigh(stretch.locate(metres, foot.uncertainty), observation.clearly, kind, words)


def _weigh(where: Whereabouts, clearly: Seen, kind: Infringement, words: str) -> Verdict:
    outside = where in (Whereabouts.BEFORE, Whereabouts.BEYOND)
    if where is Whereabouts.UNCLEAR:
        return leaves_open(kind, f"{words} That does not tell on which side of the edge.")
    if clearly is (Seen.NO if outside else Seen.YES):
        return leaves_open(kind, f"{words} The umpire's words say the opposite. Ask the umpire.")
    return infringes(kind, words) if outside else clears(kind, words)


def _by_word(clearly: Seen, kind: Infringement) -> Verdict:
    if clearly is Seen.YES:
        return infringes(kind, "By the umpire's word the receiver was clearly outside.")
    if clearly is Seen.NO:
        return clears(kind, "By the umpire's word the receiver was not outside.")
    return leaves_open(
        kind,
        "Not known: where the receiver's foot was. Give metres from a mark, "
        "or say whether it was clearly outside.",
    )


def judge_waiting_order(
    observation: WaitingOrderChanged, circumstances: Circumstances, book: Book
) -> Verdict:
    """Out of lanes, waiting runners keep the order of their team-mates at the 200 m point.

    World Athletics TR24.20; IAAF Rule 170.9 (2012); NFHS 5-10 from memory. Every edition at
    hand has the same order.
    """
    kind = Infringement.WAITING_ORDER_CHANGED
    in_lanes = _in_lanes(circumstances, book)
    if in_lanes is Seen.YES:
        return clears(kind, "This take-over is run in lanes, so there is no waiting order.")
    if in_lanes is Seen.UNSURE:
        return leaves_open(kind, "Not known: which take-over it was; the first are run in lanes.")
    if observation.changed is Seen.NO or observation.order_fixed is Seen.NO:
        return clears(kind, "No order that was already fixed was changed.")
    both = (observation.changed, observation.order_fixed)
    answer = Seen.YES if both == (Seen.YES, Seen.YES) else Seen.UNSURE
    question = Question(
        answer,
        "runners changed places after their team-mates had passed the 200 m point",
        "whether runners changed places after their team-mates had passed the 200 m point",
    )
    return answer_all(kind, [question], cleared="The order was kept.")


def _in_lanes(circumstances: Circumstances, book: Book) -> Seen:
    """Whether the take-over is in lanes; a 4x200 m on 400 m may leave them early, as the meet
    decides.
    """
    relay, in_lanes = circumstances.relay, circumstances.relay.take_overs_in_lanes
    on_oval = in_lanes_on_oval(relay) if book.is_for_oval else None
    if on_oval is not None:
        in_lanes = on_oval
    elif relay is Relay.FOUR_BY_200:
        in_lanes = 0
    if in_lanes == 0:
        return Seen.NO
    if circumstances.take_over is None:
        return Seen.UNSURE if in_lanes < circumstances.relay.take_overs else Seen.YES
    return as_seen(circumstances.take_over <= in_lanes)

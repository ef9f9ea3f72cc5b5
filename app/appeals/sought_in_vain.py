"""What a team asked the jury for in vain, the referee does not order on a further protest.

The jury's decision is final (the edition's rule: World Athletics TR8.11, NFHS 3-5), whether it gave
nothing of what was sought or a part. What is meant is the same order for the same team, or about
the same thing, in the race that the appeal was about, and undoing what leaves the same: another
order, or another race, a re-run or one that was run anew, is another matter. Who goes on, and who
has a lane of the next round, is about the round: that a protest names a re-run in which the team
did not run makes no other matter of it. Whole heats are run again for many reasons, so that one was
refused binds nobody. This reading is common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from app.appeals.bench import Bench, Understood, effects_of, jurys_word
from app.appeals.orders import OrderIn
from app.ids import HeatId
from app.rules.orders import (
    Advance,
    CallOff,
    Disqualify,
    GiveLane,
    Order,
    Recall,
    RunAgain,
    SetAside,
)
from app.rules.qualifying import Letter
from app.rulings.refused import Refused, refused_by_jury

What = tuple[object, ...]


def insist_not_sought_in_vain(bench: Bench, order: OrderIn) -> None:
    """StateConflict where the referee orders what the jury has refused."""
    _insist_none_refused(bench, list(_of_order(order.model_dump(mode="json"))))


def insist_nothing_in_vain(bench: Bench, undone: Iterable[Understood]) -> None:
    """The same of what an undoing leaves."""
    effects = effects_of(undone)
    _insist_none_refused(bench, [what for effect in effects for what in _of_effect(effect)])


def _insist_none_refused(bench: Bench, whats: Sequence[What]) -> None:
    if bench.letter is not Letter.BY_REFEREE or not whats:
        return
    known = refused_by_jury(bench.conn, HeatId(bench.heat.id))
    refused = [what for one in known for what in _not_given(one)]
    if any(_is_same(what, other) for what in whats for other in refused):
        raise jurys_word(bench)


def _not_given(one: Refused) -> Iterator[What]:
    given = [what for order in one.given for what in _of_order(order)]
    for order in one.sought:
        yield from (what for what in _of_order(order) if what not in given)


def _is_same(one: What, other: What) -> bool:
    """A take-over that is not known may be any."""
    if one[0] == other[0] == "disqualify" and None in {one[-1], other[-1]}:
        return one[:-1] == other[:-1]
    return one == other


def _of_order(order: Mapping[str, Any]) -> Iterator[What]:
    """What an order does, and for whom, however it is to be done; nothing for a whole heat."""
    match order["order"]:
        case "run again":
            yield from (("run again", team) for team in order["teams"])
        case "disqualify":
            yield ("disqualify", order["team"], order["infringement"], order["take_over"])
        case "correct":
            yield ("correct", order["team"], order["status"])
        case "set aside" | "restore" as kind:
            yield (kind, order["disqualification"])
        case "call off":
            yield ("call off", order["heat"])
        case "undo":
            yield ("undo", order["decision"])
        case kind:
            yield (kind, order["team"])


def _of_effect(effect: Order) -> Iterator[What]:
    """The same of what an undoing does."""
    match effect:
        case Advance():
            yield ("advance", effect.team)
        case Recall():
            yield ("recall", effect.team)
        case GiveLane():
            yield ("extra lane", effect.team)
        case SetAside():
            yield ("set aside", effect.one.by)
        case Disqualify():
            yield ("restore", effect.one.by)
        case RunAgain():
            yield from (("run again", team) for team in effect.re_run.teams)
        case CallOff():
            yield ("call off", effect.re_run.key)
        case _:  # a line as it was is no correction; of whole heats and lanes taken nobody asks
            pass

"""What does a decision after reopening keep of the one it replaces, and what does it take back?

What it orders again stays as it was carried out: a re-run that was run is not run twice. The rest
is taken back as far as it still can be, and what is new is understood by the round as that leaves
it. What that earlier decision had itself taken back of one before it stays taken back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from app.appeals.bench import Bench, Kept, Understood, effects_of, stays_of
from app.appeals.carrying import (
    insist_it_stands,
    not_reached,
    take_back,
    understand,
    understand_one,
)
from app.appeals.orders import OrderIn, UndoIn
from app.meets.states import HeatState
from app.refusals import NoLongerStands, Refusal, StateConflict
from app.rounds.consequences import consequences
from app.rounds.wire import ConsequencesOut, NamedTeam
from app.rules.orders import Advance, Order
from app.rules.qualifying import Letter, Seat
from app.store.rows import AnyRow

TAKES_BACK: Mapping[str, Any] = {"takes_back": True}


def shown_again(
    bench: Bench, earlier: AnyRow, sent: Sequence[OrderIn], *, is_done: bool
) -> tuple[list[Understood], ConsequencesOut]:
    """What a decision orders that replaces an earlier one, understood, and what it would move.

    Where all `is_done` already, nothing is taken back. What can no longer be taken back is said
    among what comes too late; StateConflict for it where the undoing itself is ordered.
    """
    made = [kept for kept in earlier.carried_out if not kept.get("takes_back")]
    kept = (
        [one for one in made if _is_in_force(bench, one)]
        if is_done
        else _again(bench, earlier.carried_out, sent)
    )
    gone = [] if is_done else [one for one in made if one not in kept]
    undo = UndoIn(order="undo", decision=earlier.id)
    back, stays, now = _taken_back(bench, earlier, gone, must=undo in sent)
    done = {
        number
        for number, order in enumerate(sent)
        if order == undo or _is_among(order, kept) or _note_what_comes_of(back, bench, order)
    }
    given = understand(now, sent, done)
    _insist_they_stay(now.after(effects_of(given)), kept)
    understood = [*back, *map(_as_it_was, kept), *given]
    shown = consequences(bench.at_hand, effects_of(understood))
    too_late = [*stays, *stays_of(given), *shown.too_late]
    told = {"too_late": too_late, "named": _with_kept(shown, earlier, kept)}
    return understood, shown.model_copy(update=told)


def _with_kept(shown: ConsequencesOut, earlier: AnyRow, kept: Sequence[Kept]) -> list[NamedTeam]:
    """Whom the orders name, with all whom the earlier decision touched where any of it is kept:
    nobody is moved by that again, and yet it is what these teams stand by.
    """
    if not kept:
        return shown.named
    known = {one.team for one in shown.concerned}
    before = ConsequencesOut.model_validate(earlier.moves).concerned
    return [
        *shown.named,
        *(NamedTeam(team=one.team, name=one.name) for one in before if one.team not in known),
    ]


def _again(bench: Bench, made: Sequence[Kept], sent: Sequence[OrderIn]) -> list[Kept]:
    """What was carried out by orders that are given again and still stand in full."""
    again = [one for one in made if any(_is_among(order, [one]) for order in sent)]
    lost = [one["order"] for one in again if not _is_in_force(bench, one)]
    return [one for one in again if one["order"] not in lost]


def _is_among(order: OrderIn, made: Sequence[Kept]) -> bool:
    document = order.model_dump(mode="json")
    return any(one.get("order") == document for one in made)


def _is_in_force(bench: Bench, kept: Kept) -> bool:
    """Whether what was carried out still stands, also where it can no longer be taken back."""
    try:
        bench.after(take_back(bench, kept).effect)
    except NoLongerStands:
        return False
    except Refusal:
        return _has_come_about(bench, kept)
    return True


def _has_come_about(bench: Bench, kept: Kept) -> bool:
    """A lane of a round that has begun, a heat that was started again, and one that counts."""
    match kept["did"]:
        case "lane given":
            return bool(bench.at_hand.drawn.get(Seat(kept["heat"], kept["lane"])) == kept["team"])
        case "whole heat again":
            return bool(bench.heat.state is HeatState.TO_COME or bench.heat.run != kept["run"])
        case "given back":
            return bench.heat.state is not HeatState.TO_COME
    return False


def _taken_back(
    bench: Bench, earlier: AnyRow, gone: Sequence[Kept], *, must: bool
) -> tuple[list[Understood], list[str], Bench]:
    """The opposite of what was carried out, why the rest stays, and the round that this leaves."""
    back: list[Understood] = []
    stays: list[str] = []
    for kept in reversed(gone):
        try:
            insist_it_stands(bench, kept, earlier)
            one = take_back(bench, kept)
            bench = bench.after(one.effect)
        except NoLongerStands:
            stays += not_reached(bench, earlier, [kept])
        except StateConflict as why:
            if must:
                raise
            stays.append(f"This stays as it was ordered before: {kept['words']} {why}")
        else:
            back.append(replace(one, noted=TAKES_BACK))
    return back, stays, bench


def _note_what_comes_of(back: list[Understood], bench: Bench, order: OrderIn) -> bool:
    """Whether an order does just what the taking back does: it is done once, and the order noted
    beside that, so that a later sitting can order it again. It stays a taking back: no sitting
    takes it back, by which what was before the first one would be lost.
    """
    try:
        wanted = understand_one(bench, order, "/orders")
    except Refusal:
        return False
    sought = [_leaving(one) for one in wanted]
    taken = [_leaving(one) for one in back]
    if not wanted or not all(effect in taken for effect in sought):
        return False
    for at, effect in enumerate(taken):
        if effect in sought:
            noted = wanted[sought.index(effect)].noted
            back[at] = replace(back[at], noted={**noted, **TAKES_BACK})
    return True


def _leaving(one: Understood) -> list[Order]:
    """What an order leaves; whoever goes on does so whether by a letter given back or by a new one
    (the one that is given back stays).
    """
    return [
        replace(effect, letter=Letter.BY_JURY, again=False)
        if isinstance(effect, Advance)
        else effect
        for effect in one.effect
    ]


def _insist_they_stay(after: Bench, kept: Sequence[Kept]) -> None:
    for one in kept:
        if not _is_in_force(after, one):
            raise StateConflict(
                f"One of these orders takes back what another orders again: {one['words']} Leave "
                "one of them out."
            )


def _as_it_was(kept: Kept) -> Understood:
    """What was carried out before and stays, as the new decision has it."""
    return Understood((), kept["words"], lambda _unit, _decision: {**kept, "is_kept": True})

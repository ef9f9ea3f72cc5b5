"""What does a decision after reopening keep of the one it replaces, and what does it take back?

What it orders again stays as it was carried out: a re-run that was run is not run twice. The rest
is taken back as far as it still can be, and what is new is understood by the round as that leaves
it. What an earlier sitting did not reach is taken back with it, and so is what would come back by
that though the appeal that ordered it was decided anew since (`left_over.py`). What an earlier
decision had itself taken back of one before it stays taken back, and what another decision of the
jury found done already stays done, until that one is heard again too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from app.appeals.bench import Bench, Kept, Understood, effects_of, stays_of
from app.appeals.carrying import (
    insist_it_stands,
    not_reached,
    take_back,
    understand,
    understand_one,
)
from app.appeals.decision_queries import decision_row, decisions_in_round
from app.appeals.in_force import is_in_force
from app.appeals.left_as_decided import insist_left_by_jury
from app.appeals.left_for import Made, itself, left_for, made_by
from app.appeals.left_over import replaced_in_round
from app.appeals.orders import OrderIn, UndoIn
from app.appeals.resting import Resting, is_so, resting_in
from app.ids import DecisionId, HeatId
from app.refusals import NoLongerStands, Refusal, StateConflict
from app.rounds.consequences import consequences
from app.rounds.wire import ConsequencesOut, NamedTeam
from app.rules.orders import Advance, Order
from app.rules.qualifying import Letter
from app.store.rows import AnyRow

TAKES_BACK: Mapping[str, Any] = {"takes_back": True}


@dataclass(frozen=True, slots=True)
class _Heard:
    """What is taken back and given, why the rest stays, and the round after it."""

    back: Sequence[Understood]
    given: Sequence[Understood]
    stays: Sequence[str]
    after: Bench


def shown_again(
    bench: Bench, earlier: AnyRow, sent: Sequence[OrderIn], *, is_done: bool
) -> tuple[list[Understood], ConsequencesOut]:
    """What a decision orders that replaces an earlier one, understood, and what it would move.

    Where all `is_done` already, nothing is taken back. What can no longer be taken back, or is what
    another decision of the jury rests on, is said among what comes too late; StateConflict for it
    where the undoing itself is ordered, or what that other one found done would be lost.
    """
    left = [] if is_done else _left_before(bench, earlier)
    made = [*left, *made_by(earlier)]
    kept = (
        [one.kept for one in made if is_in_force(bench, one.kept)]
        if is_done
        else _again(bench, [*(one.kept for one in left), *earlier.carried_out], sent)
    )
    gone = [] if is_done else [one for one in made if one.kept not in kept]
    heard = _hear_for_all(bench, earlier, sent, gone, kept)
    understood = [*heard.back, *map(_as_it_was, kept), *heard.given]
    shown = consequences(bench.at_hand, effects_of(understood))
    holders = [earlier, *(_whole(bench, one.by) for one in left if one.kept in kept)]
    named = _with_kept(shown, holders) if kept else shown.named
    too_late = [*heard.stays, *stays_of(heard.given), *shown.too_late]
    told = {"too_late": too_late, "named": named}
    return understood, shown.model_copy(update=told)


def _left_before(bench: Bench, earlier: AnyRow) -> list[Made]:
    """What replaced decisions carried out and what stands for this appeal alone."""
    found = left_for(bench, earlier)
    known = [itself(one.kept) for one in found]
    over = replaced_in_round(bench).of_appeal(bench, _number_of(bench, earlier))
    return [*found, *(one for one in over if itself(one.kept) not in known)]


def _hear_for_all(
    bench: Bench,
    earlier: AnyRow,
    sent: Sequence[OrderIn],
    gone: Sequence[Made],
    kept: Sequence[Kept],
) -> _Heard:
    """The same, with that left as it is without which another decision would lose what it rests on;
    StateConflict where it would all the same.
    """
    others = _others_resting(bench, earlier, gone)
    try:
        heard = _hear(bench, earlier, sent, gone, kept)
        lose = [one for one in others if one.loses(bench, heard.after)]
    except StateConflict:
        if not others:
            raise
        lose = others
    if not lose:
        return heard
    heard = _hear(bench, earlier, sent, gone, kept, lose)
    _insist_none_loses(lose, bench, heard.after)
    return heard


def _others_resting(bench: Bench, earlier: AnyRow, gone: Sequence[Made]) -> list[Resting]:
    """The other decisions that can rest on what is gone; one that did not say on what, only where
    it came later.
    """
    was_before = any(one.kept.get("is_kept") for one in gone)
    return [
        one
        for one in (resting_in(bench.conn, HeatId(bench.heat.id)) if gone else ())
        if one.id != earlier.id and (one.wanted or one.seq > earlier.seq or was_before)
    ]


def _hear(
    bench: Bench,
    earlier: AnyRow,
    sent: Sequence[OrderIn],
    gone: Sequence[Made],
    kept: Sequence[Kept],
    resting: Sequence[Resting] = (),
) -> _Heard:
    undo = UndoIn(order="undo", decision=earlier.id)
    back, stays, now = _taken_back(bench, earlier, gone, resting, must=undo in sent)
    done = {
        number
        for number, order in enumerate(sent)
        if order == undo or _is_among(order, kept) or _note_what_comes_of(back, bench, order)
    }
    with_it, stand_again, now = _not_come_back(bench, now, earlier, sent, resting)
    back, stays = [*back, *with_it], [*stays, *stand_again]
    given = understand(now, sent, done)
    insist_left_by_jury(now, given, _number_of(bench, earlier))
    after = now.after(effects_of(given))
    _insist_they_stay(after, kept)
    return _Heard(back, given, stays, after)


def _number_of(bench: Bench, decision: AnyRow) -> int | None:
    """The number of the appeal that a decision is on."""
    known = decisions_in_round(bench.conn, HeatId(bench.heat.id))
    return next((one.appeal_number for one in known if one.id == decision.id), None)


def _insist_none_loses(resting: Iterable[Resting], before: Bench, after: Bench) -> None:
    """StateConflict where a decision of the jury that stands would lose what it found done."""
    for one in resting:
        if one.loses(before, after):
            raise StateConflict(
                f"The jury's decision on appeal {one.appeal} stands and found this done already, "
                "so it stays: have that appeal reopened and decided anew first, where the new "
                "evidence is about it too."
            )


def _with_kept(shown: ConsequencesOut, holders: Sequence[AnyRow]) -> list[NamedTeam]:
    """Whom the orders name, with all whom the decisions touched of which something is kept: nobody
    is moved by that again, and yet it is what these teams stand by.
    """
    named = {one.team: one for one in shown.named}
    moved = {one.team for one in shown.moves}
    for holder in holders:
        for one in ConsequencesOut.model_validate(holder.moves).concerned:
            if one.team not in moved:
                named.setdefault(one.team, NamedTeam(team=one.team, name=one.name))
    return list(named.values())


def _whole(bench: Bench, decision: AnyRow) -> AnyRow:
    return decision_row(bench.conn, bench.meet_id, DecisionId(decision.id))


def _again(bench: Bench, made: Sequence[Kept], sent: Sequence[OrderIn]) -> list[Kept]:
    """What was carried out by orders that are given again and still stand in full."""
    again = [one for one in made if any(_is_among(order, [one]) for order in sent)]
    lost = [one["order"] for one in again if not is_in_force(bench, one)]
    return [one for one in again if one["order"] not in lost]


def _is_among(order: OrderIn, made: Sequence[Kept]) -> bool:
    document = order.model_dump(mode="json")
    return any(one.get("order") == document for one in made)


def _taken_back(
    bench: Bench,
    earlier: AnyRow,
    gone: Sequence[Made],
    resting: Sequence[Resting],
    *,
    must: bool,
) -> tuple[list[Understood], list[str], Bench]:
    """The opposite of what was carried out, why the rest stays, and the round that this leaves."""
    back: list[Understood] = []
    stays: list[str] = []
    for kept, by in reversed(gone):
        try:
            insist_it_stands(bench, kept, by)
            one = take_back(bench, kept)
            after = bench.after(one.effect)
            _insist_none_loses(resting, bench, after)
        except NoLongerStands:
            stays += not_reached(bench, by, [kept])
        except StateConflict as why:
            if must:
                raise
            stays.append(f"This stays as it was ordered before: {kept['words']} {why}")
        else:
            bench = after
            noted = TAKES_BACK if by.id == earlier.id else {**TAKES_BACK, "left_by": by.id}
            back.append(replace(one, noted=noted))
    return back, stays, bench


def _not_come_back(
    bench: Bench,
    now: Bench,
    earlier: AnyRow,
    sent: Sequence[OrderIn],
    resting: Sequence[Resting],
) -> tuple[list[Understood], list[str], Bench]:
    """The opposite of what would come back by the taking back, though the appeal that ordered it
    was decided anew since, why the rest stands again, and the round that this leaves.
    """
    replaced = replaced_in_round(bench)
    back: list[Understood] = []
    stays: list[str] = []
    taken_back, before = {earlier.id}, bench
    while found := replaced.coming_back(before, now, taken_back):
        before = now
        taken_back |= {made.by.id for made in found}
        for kept, by in reversed(found):
            try:
                one = take_back(now, kept)
                after = now.after(one.effect)
                _insist_none_loses(resting, now, after)
            except StateConflict as why:
                stays.append(f"This stands again as it was ordered before: {kept['words']} {why}")
                continue
            if not any(_is_lost(order, now, after) for order in sent):
                now = after
                since = f", since appeal {by.appeal_number} was decided anew."
                words = one.words.removesuffix(".") + since
                noted = {**TAKES_BACK, "left_by": by.id}
                back.append(replace(one, words=words, noted=noted))
    return back, stays, now


def _is_lost(order: OrderIn, before: Bench, after: Bench) -> bool:
    """Whether what is ordered would be so before, and not after."""
    return not isinstance(order, UndoIn) and is_so(before, order) and not is_so(after, order)


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
        if not is_in_force(after, one):
            raise StateConflict(
                f"One of these orders takes back what another orders again: {one['words']} Leave "
                "one of them out."
            )


def _as_it_was(kept: Kept) -> Understood:
    """What was carried out before and stays, as the new decision has it."""
    return Understood((), kept["words"], lambda _unit, _decision: {**kept, "is_kept": True})

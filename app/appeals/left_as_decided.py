"""Do the orders of a decision leave as it is what the jury has decided on another appeal?

The jury's decision is final (the edition's rule: World Athletics TR8.11, NFHS 3-5), also what it
found done already by a decision of the referee's and let stand. The jury is one court: what it gave
on one appeal it takes away on another only once the first is reopened, on new evidence. That the
whole race is run again is another matter than its lines and than who of it runs again (common
practice).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.appeals.bench import Bench, Understood, effects_of, jurys_word
from app.appeals.decision_queries import decisions_in_round
from app.appeals.in_force import is_in_force
from app.appeals.last_about import overtaken_by
from app.appeals.left_for import OF_A_HEAT, Made, bears, made_by
from app.appeals.resting import Resting, resting_in
from app.appeals.states import AppealState
from app.ids import HeatId
from app.meets.states import NOT_TO_RUN
from app.refusals import StateConflict
from app.rules.qualifying import Letter
from app.store.rows import AnyRow

_OF_THE_RUN = frozenset({"corrected", "run again", "called off", "held after all"})


def insist_left_by_referee(bench: Bench, understood: Sequence[Understood]) -> None:
    """StateConflict with the appeal where the referee's orders take away what the jury has found
    done already.
    """
    effects = effects_of(understood)
    found = resting_in(bench.conn, HeatId(bench.heat.id)) if effects else []
    # Whether something is so is asked of what the jury could change: the referee may not.
    before = replace(bench, letter=Letter.BY_JURY)
    for one in found:
        if _takes_away(one, before, before.after(effects)):
            raise jurys_word(bench, one.appeal)


def insist_left_by_jury(bench: Bench, given: Sequence[Understood], own: int | None) -> None:
    """StateConflict with the appeal where the jury's orders take away what its decision on another
    one gave, or found done already; not where that one is open again. `own` is the number of the
    appeal that is decided.
    """
    effects = effects_of(given)
    if not effects:
        return
    after = bench.after(effects)
    known = decisions_in_round(bench.conn, HeatId(bench.heat.id))
    free = {None, own, *(one.appeal_number for one in known if _is_open_again(one))}
    for rests in resting_in(bench.conn, HeatId(bench.heat.id)):
        if rests.appeal not in free and _takes_away(rests, bench, after):
            raise _reopen_first(bench, rests.appeal, "found this done already")
    for one in known:
        stands = one.replaced_by is None and one.appeal_number not in free
        if stands and any(_is_lost(made, bench, after) for made in made_by(one)):
            raise _reopen_first(bench, one.appeal_number, "ordered this")


def _is_open_again(decision: AnyRow) -> bool:
    return bool(decision.appeal_state == AppealState.LODGED.value)


def _reopen_first(bench: Bench, appeal: int, what: str) -> StateConflict:
    return StateConflict(
        f"The jury's decision on appeal {appeal} stands and {what}, and it is final "
        f"({bench.meet.book.jury_final_by}): have that appeal reopened and decided anew first, "
        "where there is new conclusive evidence about it.",
        appeal=appeal,
    )


def _is_lost(made: Made, before: Bench, after: Bench) -> bool:
    """Whether something that a decision carried out stands before, and no longer after."""
    kept, by = made
    if kept["did"] in OF_A_HEAT and by.heat_id != before.heat.id:
        return False  # an order is about its own heat, and the round
    is_void = after.heat.state in NOT_TO_RUN
    if is_void and kept["did"] in _OF_THE_RUN:
        return False
    if overtaken_by(before.conn, HeatId(before.heat.id), by, kept):
        return False
    return is_in_force(before, kept) and not is_in_force(after, kept)


def _takes_away(one: Resting, before: Bench, after: Bench) -> bool:
    """Whether what a decision found done is lost; where nobody said what that is, of all that was
    carried out about its parties before it.
    """
    if one.wanted:
        return one.loses(before, after)
    earlier = (
        made
        for decision in decisions_in_round(before.conn, HeatId(before.heat.id))
        if decision.seq < one.seq
        for made in made_by(decision)
    )
    return any(bears(before, one, made) and _is_lost(made, before, after) for made in earlier)

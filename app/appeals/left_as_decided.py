"""Do the orders of a decision leave as it is what the jury has decided on another appeal?

The jury's decision is final (the edition's rule: World Athletics TR8.11, NFHS 3-5), also what it
found done already by a decision of the referee's and let stand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from app.appeals.bench import Bench, Understood, effects_of, jurys_word
from app.appeals.in_force import is_in_force
from app.appeals.left_for import bears, made_by
from app.appeals.queries import decisions_in_round
from app.appeals.resting import Resting, resting_in
from app.ids import HeatId
from app.rules.qualifying import Letter


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
    return any(bears(before, one, made) and not is_in_force(after, made.kept) for made in earlier)

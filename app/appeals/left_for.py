"""What of decisions that were replaced still stands, since another one of the jury rests on it?

Once that one is heard again as well, this is what there is to keep or to take back.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from app.appeals.bench import Bench, Kept
from app.appeals.carrying import insist_it_stands, take_back
from app.appeals.decision_queries import decisions_in_round
from app.appeals.resting import Resting, resting_in
from app.appeals.wire import Instance
from app.ids import HeatId
from app.refusals import Refusal
from app.store.rows import AnyRow

OF_A_HEAT = frozenset({"set aside", "restored", "corrected", "whole heat again", "given back"})
"""What is carried out about the heat that a decision is on, and not about its round."""


class Made(NamedTuple):
    """What was carried out, and by which decision."""

    kept: Kept
    by: AnyRow


def made_by(decision: AnyRow) -> list[Made]:
    """What a decision carried out, but what it took back of the one before it."""
    return [Made(kept, decision) for kept in decision.carried_out if not kept.get("takes_back")]


def carried_out_by(standing: Iterable[AnyRow]) -> list[Mapping[str, Any]]:
    """What decisions that stand have carried out, or kept, themselves."""
    return [itself(one.kept) for decision in standing for one in made_by(decision)]


def left_for(bench: Bench, decision: AnyRow) -> list[Made]:
    """What replaced decisions of the jury carried out and what stands for this decision alone."""
    asked = HeatId(bench.heat.id)
    found = resting_in(bench.conn, asked)
    rests = next((one for one in found if one.id == decision.id), None)
    known = decisions_in_round(bench.conn, asked) if rests is not None else []
    return [] if rests is None else list(_left(bench, rests, known))


def _left(bench: Bench, rests: Resting, known: Sequence[AnyRow]) -> Iterator[Made]:
    told = carried_out_by(one for one in known if one.replaced_by is None)
    for decision in known:
        if decision.replaced_by is None or decision.instance != Instance.JURY.value:
            continue
        for one in made_by(decision):
            if itself(one.kept) not in told and bears(bench, rests, one):
                told.append(itself(one.kept))
                yield one


def itself(kept: Kept) -> Mapping[str, Any]:
    """What was carried out, whichever sitting has kept it."""
    return {name: value for name, value in kept.items() if name != "is_kept"}


def bears(bench: Bench, rests: Resting, one: Made) -> bool:
    """Whether this still stands, and a decision would lose by its taking back."""
    if one.by.heat_id != bench.heat.id and one.kept["did"] in OF_A_HEAT:
        return False
    try:
        insist_it_stands(bench, one.kept, one.by)
        after = bench.after(take_back(bench, one.kept).effect)
    except Refusal:
        return False
    return rests.loses(bench, after)

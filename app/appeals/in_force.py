"""Does what a decision carried out still stand, by the round as it is at hand?"""

from __future__ import annotations

from app.appeals.bench import Bench, Kept
from app.appeals.carrying import take_back
from app.meets.states import HeatState
from app.refusals import NoLongerStands, Refusal
from app.rules.qualifying import Seat


def is_in_force(bench: Bench, kept: Kept) -> bool:
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

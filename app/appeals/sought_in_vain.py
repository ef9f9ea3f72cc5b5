"""What a team asked the jury for in vain, the referee does not order on a further protest.

The jury's decision is final (the edition's rule: World Athletics TR8.11, NFHS 3-5). What is meant
is the same order for the same team, or about the same thing, in the race that the appeal was about:
another order, or a race that was run anew, is another matter. Whole heats are run again for many
reasons, so that one was refused binds nobody. This reading is common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app.appeals.bench import Bench, jurys_word
from app.appeals.orders import OrderIn
from app.appeals.queries import sought_in_vain
from app.ids import HeatId
from app.rules.qualifying import Letter

HOW = frozenset({"status", "time", "place", "lane", "heat", "time_to_beat", "added_places"})
"""How it was to be done: in which lane, by which time. `call off` is about its `heat`."""


def insist_not_sought_in_vain(bench: Bench, order: OrderIn) -> None:
    """StateConflict where the referee orders what the jury has refused."""
    if bench.letter is not Letter.BY_REFEREE:
        return
    asked = _what(order.model_dump(mode="json"))
    if asked and asked in map(_what, sought_in_vain(bench.conn, HeatId(bench.heat.id))):
        raise jurys_word(bench)


def _what(order: Mapping[str, Any]) -> Mapping[str, Any]:
    """What an order does, and for whom; empty for a whole heat, which binds nobody."""
    if order["order"] == "run again":
        teams = sorted(order["teams"])
        return {"order": "run again", "teams": teams} if teams else {}
    if order["order"] == "call off":
        return order
    return {name: value for name, value in order.items() if name not in HOW}

"""Is what the jury decided still to be announced?

Without it, whoever reads an appeal that is decided takes its matter for closed, while everybody
else still reads the result of before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection

from app.appeals.decision_queries import told_anywhere, untold_orders
from app.ids import DecisionId, HeatId
from app.meets.queries import states_of
from app.meets.states import HeatState
from app.results.called_off import not_counting
from app.results.queries import last_announcement
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Untold:
    """What is known of some heats: their states, those that do not count, and the decisions about
    them that no announcement has told.
    """

    states: Mapping[HeatId, HeatState]
    not_counting: Collection[HeatId]
    decisions: Collection[DecisionId]


def untold_in(conn: Connection, heat_ids: Iterable[HeatId]) -> Untold:
    """It, read for all of the heats at once."""
    asked = sorted(set(heat_ids))
    if not asked:
        return Untold({}, (), ())
    return Untold(
        states_of(conn, asked), not_counting(conn, asked).keys(), untold_orders(conn, asked)
    )


def awaits_announcement(conn: Connection, untold: Untold, made: Iterable[AnyRow]) -> list[str]:
    """What is to be announced of these decisions about one heat, a sentence; none where nothing is
    left to tell.
    """
    ordered = [one for one in made if one.carried_out]
    if not ordered:
        return []
    heat_id = HeatId(ordered[0].heat_id)
    state = untold.states[heat_id]
    if state is HeatState.NOT_HELD:
        return _elsewhere(conn, ordered)
    if heat_id in untold.not_counting:
        told = told_anywhere(conn, [one.id for one in ordered])
        return [] if len(told) == len(ordered) else ["The amended result is to be announced."]
    if not any(one.id in untold.decisions for one in ordered):
        return []
    if last_announcement(conn, heat_id) is None:
        return ["The result is to be announced."]
    again = "The heat is to be run again, and its" if state is HeatState.TO_COME else "The amended"
    return [f"{again} result is to be announced."]


def _elsewhere(conn: Connection, ordered: Iterable[AnyRow]) -> list[str]:
    """Nothing is announced of a heat that is not held: the heats that are moved tell it."""
    moving = {one.id for one in ordered if one.moves.get("moves")}
    if moving <= told_anywhere(conn, moving):
        return []
    return ["The amended result of the heats that it moves is to be announced."]

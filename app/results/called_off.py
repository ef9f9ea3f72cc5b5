"""A re-run that a decision has called off: its result does not count, so nobody starts it, gives it
a finish list, announces it, or waits for it. Another decision can undo that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar

from sqlalchemy import Connection

from app.ids import HeatId
from app.meets.queries import NOT_HELD, is_not_held
from app.refusals import StateConflict
from app.rounds.queries import CalledOff, re_runs_called_off
from app.store.action import Action, Done, Unit

Thing = TypeVar("Thing")


def not_counting(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, str]:
    """Those of the heats whose result does not count, and why, a sentence for everybody."""
    return {heat: _why(off) for heat, off in re_runs_called_off(conn, heat_ids).items()}


def void_windows(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, str]:
    """Those of the heats whose windows are void, why, and where to protest instead: only a decision
    on the heat in which it was called off can undo that.
    """
    return {
        heat: f"{_why(off)} Protest against that in {off.decided_on}. What is lodged here is "
        f"measured by what has been announced since in {off.of}."
        for heat, off in re_runs_called_off(conn, heat_ids).items()
    }


def _why(off: CalledOff) -> str:
    return f"This re-run was called off {off.whose}; its result does not count."


def insist_it_counts(conn: Connection, heat_id: HeatId) -> None:
    """StateConflict for a heat that is not held, and for a re-run that was called off, which says
    by whose decision.
    """
    if is_not_held(conn, heat_id):
        raise StateConflict(
            f"{NOT_HELD} A start list that draws it again makes it a heat as before. Nothing was "
            "stored."
        )
    why = not_counting(conn, [heat_id]).get(heat_id)
    if why is not None:
        raise StateConflict(f"{why} Only another decision changes that. Nothing was stored.")


def unless_called_off(heat_id: HeatId, act: Action[Thing]) -> Action[Thing]:
    """An act on a heat that counts: StateConflict for a re-run that was called off, and for a heat
    that is not held.
    """

    def guarded(unit: Unit) -> Done[Thing]:
        insist_it_counts(unit.conn, heat_id)
        return act(unit)

    return guarded

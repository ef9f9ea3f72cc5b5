"""A heat is held back: its start was recalled, or the race that was run is to be run again.

A start is recalled by whoever starts heats. That a race whose result was announced is run again is
the referee's to order (World Athletics TR8.4, CR18.7; NFHS 3-4-3: from memory), or of whoever rules
at this meet. What was announced, what is contested and what the jury has decided about the race
does not go unsaid (common practice).
"""

from __future__ import annotations

from collections.abc import Iterator

from app.access.queries import Caller
from app.crew.actions import release_posts
from app.ids import HeatId
from app.meets.actions import set_heat_state
from app.meets.queries import heat, meet_facts
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.meets.wire import HeatOut, HoldBackIn
from app.record.kinds import Kind
from app.refusals import Malformed, NeedsWord, RoleMissing, Stale
from app.results.found_in import contested
from app.roles import Role
from app.store.action import Action, Deed, Done, Unit


def hold_back_heat(
    heat_id: HeatId, sent: HoldBackIn, caller: Caller, version: int
) -> Action[HeatOut]:
    """The heat is to come. NeedsWord where its result was announced, or something about this run is
    open or was decided by the jury; RoleMissing for a race that only the referee has run again.
    """

    def act(unit: Unit) -> Done[HeatOut]:
        known = heat(unit.conn, unit.meet_id, heat_id)
        step = HEAT_TABLE.step(known.state, HeatAct.HOLD_BACK)
        if known.version != version:
            raise Stale("This heat was changed meanwhile. Read it again, then decide.")
        _insist_may_void(unit, known, caller)
        _insist_on_word(list(_in_the_way(unit, known)), sent.despite)
        set_heat_state(unit, heat_id, step.becomes)
        release_posts(unit, heat_id)
        out = heat(unit.conn, unit.meet_id, heat_id)
        body = {"run": known.run, **sent.model_dump(mode="json", exclude_none=True)}
        return Done(out, Deed(Kind.HEAT_HELD_BACK, heat_id, body))

    return act


def _insist_may_void(unit: Unit, known: HeatOut, caller: Caller) -> None:
    """What was announced was run: that it is run again is more than recalling a start."""
    if known.state is not HeatState.ANNOUNCED or caller.holds(Role.REFEREE):
        return
    if not meet_facts(unit.conn, unit.meet_id).terms.chief_umpire_rules:
        raise RoleMissing(
            "The result of this heat was announced, and that it is run again is for the referee to "
            "order. Let the referee hold it back."
        )


def _in_the_way(unit: Unit, known: HeatOut) -> Iterator[str]:
    if known.state is HeatState.ANNOUNCED:
        yield "its result was announced"
    yield from contested(unit.conn, known)


def _insist_on_word(whys: list[str], despite: str | None) -> None:
    if whys and despite is None:
        raise NeedsWord(
            f"Holding this heat back makes the race that was run void: {'; '.join(whys)}. If it is "
            "to be run again all the same, say why in “despite”; it stands in the record.",
            field="/despite",
        )
    if despite is not None and not whys:
        raise Malformed(
            "Nothing was announced of this run, and nothing about it is open or decided. Leave "
            "“despite” out.",
            field="/despite",
        )

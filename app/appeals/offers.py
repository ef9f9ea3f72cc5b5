"""Which orders could be given about a heat as things stand, for pages that let people choose?

Those that need nothing but their own name are tried as the deciding would try them, and offered
with their words where it would take them. Orders that need more said, such as a corrected time, are
understood once they are said.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from sqlalchemy import Connection

from app.appeals.bench import Bench, bench_for
from app.appeals.carrying import understand
from app.appeals.decision_queries import decisions_in_round
from app.appeals.left_as_decided import insist_left_by_referee
from app.appeals.orders import (
    AdvanceIn,
    CallOffIn,
    OrderIn,
    RecallIn,
    RestoreIn,
    RunAgainIn,
    SetAsideIn,
    UndoIn,
)
from app.appeals.wire import Instance
from app.ids import HeatId, MeetId
from app.meets.queries import meet_facts
from app.meets.states import HeatState
from app.meets.wire import LaneOut
from app.refusals import Refusal
from app.rounds.standing import NextHeat
from app.rulings.queries import disqualifications_in_heat
from app.rulings.states import DisqualificationState


@dataclass(frozen=True, slots=True)
class Offer:
    """An order that would be taken now, and what it does in words."""

    order: OrderIn
    words: str

    @property
    def document(self) -> str:
        """The order as it goes over HTTP."""
        return self.order.model_dump_json(exclude_defaults=True)


@dataclass(frozen=True, slots=True)
class Offers:
    """What can be ordered about a heat, and what the orders that need more said can name."""

    ready: tuple[Offer, ...]
    lanes: tuple[LaneOut, ...]
    next_round: str
    next_heats: tuple[NextHeat, ...]
    was_held: bool


def offers(conn: Connection, meet_id: MeetId, heat_id: HeatId, instance: Instance) -> Offers:
    """What this instance can order about a heat now."""
    bench = bench_for(conn, meet_facts(conn, meet_id), heat_id, instance)
    ready = tuple(offer for order in _thinkable(bench) for offer in _tried(bench, order, instance))
    return Offers(
        ready=ready,
        lanes=tuple(bench.heat.lanes),
        next_round=bench.at_hand.next_round,
        next_heats=bench.at_hand.next_heats,
        was_held=bench.heat.state is not HeatState.NOT_HELD and not bench.is_called_off,
    )


def _thinkable(bench: Bench) -> Iterator[OrderIn]:
    """Every order that needs no more than a name, those that undo something first."""
    for one in disqualifications_in_heat(bench.conn, bench.meet_id, bench.heat.id):
        if one.state is DisqualificationState.IN_FORCE:
            yield SetAsideIn(order="set aside", disqualification=one.id)
        else:
            yield RestoreIn(order="restore", disqualification=one.id)
    for row in decisions_in_round(bench.conn, bench.heat.id):
        if row.heat_id == bench.heat.id and row.carried_out:
            yield UndoIn(order="undo", decision=row.id)
    for again in bench.at_hand.round.re_runs:
        yield CallOffIn(order="call off", heat=again.key)
    for team in bench.at_hand.round.advanced:
        yield RecallIn(order="recall", team=team)
    if bench.at_hand.next_round:
        for lane in bench.heat.lanes:
            yield AdvanceIn(order="advance", team=lane.team)
    yield RunAgainIn(order="run again")


def _tried(bench: Bench, order: OrderIn, instance: Instance) -> Iterator[Offer]:
    with suppress(Refusal):
        understood = understand(bench, [order])
        if instance is Instance.REFEREE:
            insist_left_by_referee(bench, understood)
        yield Offer(order, " ".join(one.words for one in understood))

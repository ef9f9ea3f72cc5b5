"""Which orders could be given about a heat as things stand, for pages that let people choose?

Those that name what was done before, as to set a disqualification aside, are tried as the deciding
would try them, and are ready where it would take them. The others are put together from teams,
lanes and heats, and understood once they are said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from app.access.names import name_then
from app.appeals.bench import Bench, bench_for
from app.appeals.carrying import shown_for
from app.appeals.deciding import shown_on_appeal, shown_on_protest
from app.appeals.decision_queries import decision_row, decisions_in_round
from app.appeals.orders import (
    CallOffIn,
    OrderIn,
    RecallIn,
    RestoreIn,
    SetAsideIn,
    UndoIn,
)
from app.appeals.queries import appeal_row
from app.appeals.wire import Instance
from app.ids import AppealId, DecisionId, HeatId, MeetId
from app.meets.queries import lanes_of, meet_facts
from app.meets.states import HeatState
from app.meets.wire import LaneOut
from app.refusals import Refusal
from app.rounds.standing import NextHeat
from app.rules.observation import Infringement
from app.rules.placing import FinishStatus
from app.rules.relay import TAKE_OVERS
from app.rulings.queries import disqualifications_in_heat
from app.rulings.states import DisqualificationState

Look = Callable[[Bench, Sequence[OrderIn]], object]
"""Tries orders as whoever decides would give them; a Refusal where they cannot be given."""


@dataclass(frozen=True, slots=True)
class Offer:
    """An order that would be taken now, and what it names: a team with its rule, an official with
    the time of a decision, or a heat.
    """

    order: OrderIn
    team: str = ""
    rule: str = ""
    by: str = ""
    decided_at: datetime | None = None
    heat: str = ""

    @property
    def document(self) -> str:
        """The order as it goes over HTTP."""
        return self.order.model_dump_json(exclude_defaults=True)


@dataclass(frozen=True, slots=True)
class TeamChoice:
    """A team that an order can name, where it ran."""

    team: str
    name: str
    lane: int
    heat: int


@dataclass(frozen=True, slots=True)
class Offers:
    """What can be ordered about a heat, and what the orders that need more said can name."""

    ready: tuple[Offer, ...]
    here: tuple[TeamChoice, ...]
    elsewhere: tuple[TeamChoice, ...]
    next_round: str
    next_heats: tuple[NextHeat, ...]
    was_held: bool
    infringements: tuple[str, ...] = tuple(one.value for one in Infringement)
    finishes: tuple[str, ...] = tuple(one.value for one in FinishStatus)
    take_overs: tuple[int, ...] = tuple(TAKE_OVERS)

    @property
    def of_round(self) -> tuple[TeamChoice, ...]:
        """All teams of the round, those of the heat first."""
        return (*self.here, *self.elsewhere)


def offers_on_protest(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> Offers | None:
    """What the referee can order on a protest about this heat."""
    return _offers(conn, meet_id, heat_id, Instance.REFEREE, shown_on_protest)


def offers_to_appeal(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> Offers | None:
    """What a team can ask of the jury about this heat."""
    return _offers(conn, meet_id, heat_id, Instance.JURY, shown_for)


def offers_on_appeal(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> Offers | None:
    """What the jury can order on an appeal in its present sitting."""
    row = appeal_row(conn, meet_id, appeal_id)

    def look(bench: Bench, orders: Sequence[OrderIn]) -> object:
        return shown_on_appeal(bench, row, orders, is_done=False)

    return _offers(conn, meet_id, HeatId(row.heat_id), Instance.JURY, look)


def _offers(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, instance: Instance, look: Look
) -> Offers | None:
    """None where the round cannot be worked out: then nothing can be ordered about it."""
    with suppress(Refusal):
        bench = bench_for(conn, meet_facts(conn, meet_id), heat_id, instance)
        bench.at_hand.stand()
        return Offers(
            ready=tuple(one for one in _thinkable(bench) if _is_taken(bench, one, look)),
            here=tuple(_choices(bench.heat.lanes, bench.heat.number)),
            elsewhere=tuple(_elsewhere(bench)),
            next_round=bench.at_hand.next_round,
            next_heats=bench.at_hand.next_heats,
            was_held=bench.heat.state is not HeatState.NOT_HELD and not bench.is_called_off,
        )
    return None


def _is_taken(bench: Bench, offer: Offer, look: Look) -> bool:
    try:
        look(bench, [offer.order])
    except Refusal:
        return False
    return True


def _thinkable(bench: Bench) -> Iterator[Offer]:
    """Every order that only names what was done before."""
    yield from _about_disqualifications(bench)
    yield from _about_decisions(bench)
    for again in bench.at_hand.round.re_runs:
        name = bench.at_hand.heat_names.get(again.key, "")
        yield Offer(CallOffIn(order="call off", heat=again.key), heat=name)
    for team in bench.at_hand.round.advanced:
        yield Offer(RecallIn(order="recall", team=team), team=bench.at_hand.names.get(team, ""))


def _about_disqualifications(bench: Bench) -> Iterator[Offer]:
    for one in disqualifications_in_heat(bench.conn, bench.meet_id, HeatId(bench.heat.id)):
        order: OrderIn
        if one.state is DisqualificationState.IN_FORCE:
            order = SetAsideIn(order="set aside", disqualification=one.id)
        else:
            order = RestoreIn(order="restore", disqualification=one.id)
        yield Offer(order, team=one.team_name, rule=one.rule)


def _about_decisions(bench: Bench) -> Iterator[Offer]:
    for known in decisions_in_round(bench.conn, HeatId(bench.heat.id)):
        if known.heat_id == bench.heat.id and known.carried_out:
            row = decision_row(bench.conn, bench.meet_id, DecisionId(known.id))
            by = name_then(bench.conn, row, row.decided_at)
            yield Offer(UndoIn(order="undo", decision=known.id), by=by, decided_at=row.decided_at)


def _choices(lanes: Iterable[LaneOut], number: int) -> Iterator[TeamChoice]:
    for lane in lanes:
        yield TeamChoice(lane.team, lane.name, lane.lane, number)


def _elsewhere(bench: Bench) -> Iterator[TeamChoice]:
    """The teams of the round's other heats, in their order."""
    others = [HeatId(one.heat) for one in bench.at_hand.round.heats if one.heat != bench.heat.id]
    drawn = lanes_of(bench.conn, others)
    for other in others:
        yield from _choices(drawn.get(other, ()), bench.at_hand.heat_numbers.get(other, 0))

"""Which orders can a decision make here, and between what does each choose?

Those that name what was done before, as to set a disqualification aside, are made ready: a page
offers each that would be understood now. The others are put together from teams, lanes and heats.
What an order would move, the service says (`POST …/consequences`); a page decides nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from app.appeals.orders import (
    CallOffIn,
    OrderIn,
    RecallIn,
    RestoreIn,
    SetAsideIn,
    UndoIn,
)
from app.appeals.wire import DecisionOut, OrdersIn
from app.ids import HeatId, MeetId
from app.meets.queries import heat, lanes_of
from app.meets.wire import HeatOut
from app.refusals import Refusal
from app.rounds.standing import RoundAtHand, round_of_heat
from app.rules.observation import Infringement
from app.rules.placing import FinishStatus
from app.rulings.queries import disqualifications_in_heat
from app.rulings.states import DisqualificationState
from app.rulings.wire import DisqualificationOut

Look = Callable[[OrdersIn], object]
"""Asks the service what orders would move; a Refusal where they cannot be given."""


@dataclass(frozen=True, slots=True)
class Ready:
    """An order that only has to be ticked: its document, and what it names."""

    kind: str
    document: str
    team: str = ""
    rule: str = ""
    decision: DecisionOut | None = None
    heat: str = ""


@dataclass(frozen=True, slots=True)
class TeamChoice:
    """A team that an order can name, where it ran."""

    team: str
    name: str
    lane: int
    heat: int


@dataclass(frozen=True, slots=True)
class HeatChoice:
    """A heat of the next round."""

    heat: str
    number: int


@dataclass(frozen=True, slots=True)
class Choices:
    """What a page offers: orders that are ready, and what the others are put together from."""

    ready: tuple[Ready, ...]
    here: tuple[TeamChoice, ...]
    elsewhere: tuple[TeamChoice, ...]
    next_round: str
    next_heats: tuple[HeatChoice, ...]
    infringements: tuple[str, ...] = tuple(one.value for one in Infringement)
    finishes: tuple[str, ...] = tuple(one.value for one in FinishStatus)

    @property
    def of_round(self) -> tuple[TeamChoice, ...]:
        """All teams of the round, those of the heat first."""
        return (*self.here, *self.elsewhere)


def choices(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, made: Sequence[DecisionOut], look: Look
) -> Choices:
    """What can be ordered about this heat; `made` are the decisions on what was protested."""
    here = heat(conn, meet_id, heat_id)
    at_hand = round_of_heat(conn, meet_id, here)
    disqualified = disqualifications_in_heat(conn, meet_id, heat_id)
    known = [*_about_disqualifications(disqualified), *_about_decisions(made)]
    if at_hand is not None:
        known += [*_about_advanced(at_hand), *_about_re_runs(at_hand)]
    return Choices(
        ready=tuple(ready for order, ready in known if _is_possible(order, look)),
        here=tuple(_teams(here)),
        elsewhere=tuple(_elsewhere(conn, here, at_hand)),
        next_round=at_hand.next_round if at_hand is not None else "",
        next_heats=tuple(
            HeatChoice(one.heat, one.number) for one in (at_hand.next_heats if at_hand else ())
        ),
    )


def _is_possible(order: OrderIn, look: Look) -> bool:
    try:
        look(OrdersIn(orders=[order]))
    except Refusal:
        return False
    return True


def _document(order: OrderIn) -> str:
    return json.dumps(order.model_dump(mode="json", exclude_defaults=True), sort_keys=True)


def _about_disqualifications(
    found: Iterable[DisqualificationOut],
) -> Iterator[tuple[OrderIn, Ready]]:
    for one in found:
        order: OrderIn
        if one.state is DisqualificationState.IN_FORCE:
            order = SetAsideIn(order="set aside", disqualification=one.id)
        else:
            order = RestoreIn(order="restore", disqualification=one.id)
        yield order, Ready(order.order, _document(order), one.team_name, one.rule)


def _about_decisions(made: Iterable[DecisionOut]) -> Iterator[tuple[OrderIn, Ready]]:
    for one in made:
        if one.ordered and one.replaced_by is None:
            order = UndoIn(order="undo", decision=one.id)
            yield order, Ready(order.order, _document(order), decision=one)


def _about_advanced(at_hand: RoundAtHand) -> Iterator[tuple[OrderIn, Ready]]:
    for team in at_hand.round.advanced:
        order = RecallIn(order="recall", team=team)
        yield order, Ready(order.order, _document(order), at_hand.names.get(team, ""))


def _about_re_runs(at_hand: RoundAtHand) -> Iterator[tuple[OrderIn, Ready]]:
    for run in at_hand.round.re_runs:
        order = CallOffIn(order="call off", heat=run.key)
        name = at_hand.heat_names.get(run.key, "")
        yield order, Ready(order.order, _document(order), heat=name)


def _teams(run: HeatOut) -> Iterator[TeamChoice]:
    for lane in run.lanes:
        yield TeamChoice(lane.team, lane.name, lane.lane, run.number)


def _elsewhere(
    conn: Connection, here: HeatOut, at_hand: RoundAtHand | None
) -> Iterator[TeamChoice]:
    """The teams of the round's other heats, in their order."""
    if at_hand is None:
        return
    others = [HeatId(one.heat) for one in at_hand.round.heats if one.heat != here.id]
    drawn = lanes_of(conn, others)
    for other in others:
        number = at_hand.heat_numbers.get(other, 0)
        for lane in drawn.get(other, ()):
            yield TeamChoice(lane.team, lane.name, lane.lane, number)

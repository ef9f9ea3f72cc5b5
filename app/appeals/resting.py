"""Which decisions of the jury found done already what another one had ordered, and rest on that?

They ordered nothing themselves, so that what they wanted would be lost where the other decision is
heard again and no longer orders it, or where an order takes it away. What was wanted is read by
`rulings/found_done.py`; where nobody said it, it is whatever was decided for or against the
parties, and what moved them since the decision that was appealed against.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pydantic import TypeAdapter
from sqlalchemy import Connection

from app.appeals.bench import Bench
from app.appeals.decision_queries import decision_row, decisions_in_round
from app.appeals.in_force import is_in_force
from app.appeals.orders import (
    AdvanceIn,
    CallOffIn,
    CorrectIn,
    DisqualifyIn,
    ExtraLaneIn,
    OrderIn,
    RecallIn,
    RestoreIn,
    RunAgainIn,
    SetAsideIn,
    UndoIn,
)
from app.ids import DecisionId, HeatId
from app.meets.queries import heat
from app.meets.states import NOT_TO_RUN, HeatState
from app.results.sought_line import Placing, placings, says
from app.rules.qualifying import HeatRun
from app.rules.round_runs import all_runs, name_of
from app.rulings.found_done import found_done
from app.rulings.queries import disqualifications_in_heat

_ORDERS: TypeAdapter[list[OrderIn]] = TypeAdapter(list[OrderIn])


@dataclass(frozen=True, slots=True)
class Resting:
    """A decision of the jury that ordered nothing, since it was done already, with the number of
    its appeal. Where nobody said what was `wanted`, `parties` count, and the decisions that they
    were `moved_by`.
    """

    id: str
    seq: int
    appeal: int
    heat: HeatId
    run: int | None
    wanted: tuple[OrderIn, ...]
    parties: frozenset[str]
    moved_by: frozenset[str]

    def loses(self, before: Bench, after: Bench) -> bool:
        """Whether what it found done is so before, and not after."""
        if not self.wanted:
            if _is_run_anew(before, after):
                return False
            is_same = _ordered_about(before, self.parties) == _ordered_about(after, self.parties)
            return not is_same or self._is_moved_back(before, after)
        was, becomes = self._at(before), self._at(after)
        return any(
            is_so(was, one) and not _stays_so(was, becomes, one)
            for one in self.wanted
            if self._is_of_this_race(was, becomes, one)
        )

    def _is_moved_back(self, before: Bench, after: Bench) -> bool:
        """Whether something that moved its parties stands before, and not after."""
        return any(
            is_in_force(before, kept) and not is_in_force(after, kept)
            for one in decisions_in_round(before.conn, HeatId(before.heat.id))
            if one.id in self.moved_by and one.heat_id == before.heat.id
            for kept in one.carried_out
        )

    def _is_of_this_race(self, was: Bench, becomes: Bench, order: OrderIn) -> bool:
        """A line, or a disqualification that is named by what it is for, is of the race alone that
        was decided about: not where the heat is run anew. Of one that is not held nothing is.
        """
        if isinstance(order, CorrectIn | DisqualifyIn):
            is_void = becomes.heat.state in NOT_TO_RUN
            return not is_void and self.run in {None, was.heat.present_run}
        return not (isinstance(order, RunAgainIn) and was.heat.state is HeatState.NOT_HELD)

    def _at(self, bench: Bench) -> Bench:
        """The round at hand, seen from the heat that its appeal was about."""
        if self.heat == bench.heat.id:
            return bench
        return replace(bench, heat=heat(bench.conn, bench.meet_id, self.heat))


def _is_run_anew(before: Bench, after: Bench) -> bool:
    """Whether the whole heat is to run again by this: another matter than its lines."""
    return after.heat.state in NOT_TO_RUN and before.heat.state not in NOT_TO_RUN


def resting_in(conn: Connection, heat_id: HeatId) -> list[Resting]:
    """The decisions of the jury in a heat's round that stand so, in the order of deciding."""
    return [
        Resting(
            one.id,
            one.seq,
            one.appeal,
            one.heat,
            one.run,
            tuple(_ORDERS.validate_python(one.wanted)),
            one.parties,
            one.moved_by,
        )
        for one in found_done(conn, heat_id)
    ]


def is_so(bench: Bench, order: OrderIn) -> bool:  # noqa: C901, PLR0911  (a kind a line)
    """Whether the round at hand is as an order wants it, whoever has brought that about."""
    match order:
        case SetAsideIn():
            return order.disqualification not in _counting(bench)
        case RestoreIn():
            return order.disqualification in _counting(bench)
        case DisqualifyIn():
            return not _counting(bench).isdisjoint(_such(bench, order))
        case CorrectIn():
            return says(_line_of(bench, order.team), order.model_dump(mode="json"))
        case AdvanceIn():
            standing = bench.at_hand.stand().teams.get(order.team)
            return standing is not None and standing.letter is not None
        case RecallIn():
            return order.team not in bench.at_hand.round.advanced
        case ExtraLaneIn():
            return order.team in bench.at_hand.drawn.values()
        case RunAgainIn():
            return _runs_again(bench, order.teams)
        case CallOffIn():
            return all(one.key != order.heat for one in bench.at_hand.round.re_runs)
        case UndoIn():
            undone = decision_row(bench.conn, bench.meet_id, DecisionId(order.decision))
            return not any(is_in_force(bench, kept) for kept in undone.carried_out)


def _stays_so(was: Bench, becomes: Bench, order: OrderIn) -> bool:
    """Whether the round is still as wanted: a time as exactly as the line had it before."""
    if not isinstance(order, CorrectIn):
        return is_so(becomes, order)
    before = _line_of(was, order.team)
    exactly = None if before is None else before.finish.decimals
    sought = order.model_dump(mode="json")
    return says(_line_of(becomes, order.team), sought, exactly)


def _counting(bench: Bench) -> set[str]:
    """The disqualifications that are in force."""
    return {one.by for run in all_runs(bench.at_hand.round) for one in run.disqualified}


def _such(bench: Bench, order: DisqualifyIn) -> set[str]:
    """The disqualifications of a team for this, in force or not."""
    return {
        one.id
        for one in disqualifications_in_heat(bench.conn, bench.meet_id, HeatId(bench.heat.id))
        if (one.team, one.infringement) == (order.team, order.infringement)
        and order.take_over in {None, one.take_over}
    }


def _line_of(bench: Bench, team: str) -> Placing | None:
    return placings({line.team: line.finish for line in bench.run.ran}).get(team)


def _runs_again(bench: Bench, teams: Sequence[str]) -> bool:
    """Whether these teams are in a re-run that counts, or the whole heat is void, as it is to be
    where no teams are named.
    """
    again = {team for one in bench.at_hand.round.re_runs for team in one.teams}
    whole = isinstance(bench.run, HeatRun) and not bench.run.is_in
    return whole or (bool(teams) and again.issuperset(teams))


def _ordered_about(bench: Bench, parties: frozenset[str]) -> tuple[object, ...]:
    """All that decisions can order about teams, as it is now; not what follows for them."""
    round_ = bench.at_hand.round
    runs = all_runs(round_)
    return (
        {one for run in runs for one in run.disqualified if one.team in parties},
        {(name_of(run), line) for run in runs for line in run.ran if line.team in parties},
        parties & round_.advanced.keys(),
        parties & set(bench.at_hand.drawn.values()),
        {one.key for one in round_.re_runs if parties.intersection(one.teams)},
    )

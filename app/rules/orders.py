"""What does a ruling or a decision do to a round, and what takes it back?

An order names exactly what it acts on, so that one which no longer fits is refused, and one which
was applied can be reversed to the very same round. Who may give it, and by which rule, is left to
others. `heat` is the id of a heat or the key of a re-run: a team may be disqualified in either.
`again` marks what was in force before, so that nobody asks a second time whether the team ran.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TypeAlias

from app.rules.round_parts import BY_WORD, Disqualified, HeatRun, Letter, Ran, ReRun, Round, Seat
from app.rules.round_runs import (
    all_runs,
    found,
    heat_of,
    may_have_run,
    may_have_run_in,
    name_of,
    put,
    refuse_doubles,
)


class AlreadySo(ValueError):
    """What an order would bring about is so already."""


@dataclass(frozen=True, slots=True)
class Disqualify:
    """A team is out of this round. Before its heat is in, nobody can say yet whether it ran."""

    heat: str
    one: Disqualified
    again: bool = False

    def on(self, round_: Round) -> Round:
        run = found(round_, self.heat)
        if self.one in run.disqualified:
            raise AlreadySo("This disqualification is in force already.")
        if not self.again and not may_have_run_in(round_, run, self.one.team):
            raise ValueError("This team did not run in this heat, so it cannot be disqualified.")
        return put(round_, replace(run, disqualified=run.disqualified | {self.one}))

    def reverse(self) -> "Order":
        return SetAside(self.heat, self.one)


@dataclass(frozen=True, slots=True)
class SetAside:
    """A disqualification is set aside: the team has its place and time back."""

    heat: str
    one: Disqualified

    def on(self, round_: Round) -> Round:
        run = found(round_, self.heat)
        if self.one not in run.disqualified:
            raise AlreadySo("This disqualification is not in force, so it cannot be set aside.")
        return put(round_, replace(run, disqualified=run.disqualified - {self.one}))

    def reverse(self) -> "Order":
        return Disqualify(self.heat, self.one, again=True)


@dataclass(frozen=True, slots=True)
class Correct:
    """A line of a finish list was wrong: a time, a place, a status, or the team in a lane."""

    heat: str
    was: Ran
    becomes: Ran

    def on(self, round_: Round) -> Round:
        run = found(round_, self.heat)
        if self.was not in run.ran:
            raise ValueError("The finish list does not say what is to be corrected: look again.")
        if self.becomes in run.ran:
            raise AlreadySo("The finish list says so already: there is nothing to correct.")
        ran = tuple(self.becomes if line == self.was else line for line in run.ran)
        return put(round_, replace(run, ran=ran))

    def reverse(self) -> "Order":
        return Correct(self.heat, self.becomes, self.was)


@dataclass(frozen=True, slots=True)
class Advance:
    """A team goes on by the referee's or the jury's word; without effect while disqualified."""

    team: str
    letter: Letter
    again: bool = False

    def __post_init__(self) -> None:
        if self.letter not in BY_WORD:
            raise ValueError("A team is advanced by the referee (qR) or by the jury (qJ).")

    def on(self, round_: Round) -> Round:
        if self.team in round_.advanced:
            raise AlreadySo("This team was advanced before.")
        if not self.again and not may_have_run(round_, self.team):
            raise ValueError("This team did not run in this round, so it cannot be advanced.")
        return replace(round_, advanced={**round_.advanced, self.team: self.letter})

    def reverse(self) -> "Order":
        return Recall(self.team, self.letter)


@dataclass(frozen=True, slots=True)
class Recall:
    """An advancement is taken back."""

    team: str
    letter: Letter

    def on(self, round_: Round) -> Round:
        if round_.advanced.get(self.team) is not self.letter:
            raise AlreadySo("This team was not advanced so: there is nothing to take back.")
        left = {team: by for team, by in round_.advanced.items() if team != self.team}
        return replace(round_, advanced=left)

    def reverse(self) -> "Order":
        return Advance(self.team, self.letter, again=True)


@dataclass(frozen=True, slots=True)
class RunAgain:
    """Some teams of the round run again."""

    re_run: ReRun
    again: bool = False

    def on(self, round_: Round) -> Round:
        if any(self.re_run.key == name_of(run) for run in all_runs(round_)):
            raise AlreadySo("This re-run was ordered before.")
        if not self.again and not all(may_have_run(round_, team) for team in self.re_run.teams):
            raise ValueError("A team that did not run in this round cannot run again.")
        return replace(round_, re_runs=(*round_.re_runs, self.re_run))

    def reverse(self) -> "Order":
        return CallOff(self.re_run)


@dataclass(frozen=True, slots=True)
class CallOff:
    """A re-run is called off, or does not count if it has been run."""

    re_run: ReRun

    def on(self, round_: Round) -> Round:
        if self.re_run not in round_.re_runs:
            raise AlreadySo("This re-run does not stand as this order has it: look again.")
        left = tuple(re_run for re_run in round_.re_runs if re_run != self.re_run)
        return replace(round_, re_runs=left)

    def reverse(self) -> "Order":
        return RunAgain(self.re_run, again=True)


@dataclass(frozen=True, slots=True)
class AnnulHeat:
    """A whole heat is to run again: its list is void. Who is disqualified in it stays so."""

    heat: HeatRun

    def on(self, round_: Round) -> Round:
        heat = heat_of(round_, self.heat.heat)
        if not heat.is_in or not self.heat.is_in:
            raise AlreadySo("This heat has no finish list that could be void.")
        if heat.ran != self.heat.ran:
            raise ValueError("The finish list of this heat has changed: look again.")
        return put(round_, replace(heat, ran=(), is_in=False))

    def reverse(self) -> "Order":
        return RestoreHeat(self.heat)


@dataclass(frozen=True, slots=True)
class RestoreHeat:
    """The list of a heat that was void counts again."""

    heat: HeatRun

    def on(self, round_: Round) -> Round:
        heat = heat_of(round_, self.heat.heat)
        if heat.is_in or not self.heat.is_in:
            raise ValueError("This heat has a finish list, so an earlier one cannot count again.")
        return put(round_, replace(heat, ran=self.heat.ran, is_in=True))

    def reverse(self) -> "Order":
        return AnnulHeat(self.heat)


@dataclass(frozen=True, slots=True)
class GiveLane:
    """A team has this lane of the next round, beside those who are drawn (an extra lane).

    Tokyo 2025, men's 4x400 m: the ninth team had lane 1 of the final (press accounts).
    """

    seat: Seat
    team: str
    again: bool = False

    def on(self, round_: Round) -> Round:
        if self.seat in round_.seats:
            raise ValueError("This lane of the next round is taken: choose another.")
        if self.team in round_.seats.values():
            raise ValueError("This team has a lane in the next round already.")
        if not self.again and not may_have_run(round_, self.team):
            raise ValueError("This team did not run in this round, so it has no lane in the next.")
        return replace(round_, seats={**round_.seats, self.seat: self.team})

    def reverse(self) -> "Order":
        return TakeLane(self.seat, self.team)


@dataclass(frozen=True, slots=True)
class TakeLane:
    """A team does not have this lane of the next round."""

    seat: Seat
    team: str

    def on(self, round_: Round) -> Round:
        if round_.seats.get(self.seat) != self.team:
            raise AlreadySo("This team does not have this lane of the next round: look again.")
        left = {seat: team for seat, team in round_.seats.items() if seat != self.seat}
        return replace(round_, seats=left)

    def reverse(self) -> "Order":
        return GiveLane(self.seat, self.team, again=True)


Order: TypeAlias = (
    Disqualify
    | SetAside
    | Correct
    | Advance
    | Recall
    | RunAgain
    | CallOff
    | AnnulHeat
    | RestoreHeat
    | GiveLane
    | TakeLane
)


def apply(round_: Round, orders: Iterable[Order]) -> Round:
    """The round after these orders, one after another.

    An order that does not fit what it finds is refused with ValueError, and so are corrections
    that leave a lane twice in a heat or a team twice in the round.
    """
    given = tuple(orders)
    for order in given:
        round_ = order.on(round_)
    if any(isinstance(order, Correct) for order in given):
        refuse_doubles(round_)
    return round_


def named_in(orders: Iterable[Order]) -> frozenset[str]:
    """The teams that orders are about, moved or not: for a whole heat all that its list names."""
    return frozenset(team for order in orders for team in _named(order))


def _named(order: Order) -> Iterable[str]:
    match order:
        case Disqualify() | SetAside():
            return [order.one.team]
        case Correct():
            return [order.was.team, order.becomes.team]
        case Advance() | Recall() | GiveLane() | TakeLane():
            return [order.team]
        case RunAgain() | CallOff():
            return order.re_run.teams
        case AnnulHeat() | RestoreHeat():
            return [line.team for line in order.heat.ran]


def reverse(orders: Iterable[Order]) -> tuple[Order, ...]:
    """The orders that take these back; applied to what these made, they give the round before."""
    return tuple(order.reverse() for order in reversed(tuple(orders)))

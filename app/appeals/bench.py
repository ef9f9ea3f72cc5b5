"""What orders are understood by, and what an order is once it is understood."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

from sqlalchemy import Connection

from app.appeals.last_about import Thing, decided_last
from app.appeals.wire import Instance
from app.ids import DecisionId, HeatId, MeetId, RulingId, TeamId
from app.meets.queries import MeetFacts, heat, lanes_of, team_row
from app.meets.states import HeatState
from app.meets.wire import HeatOut, LaneOut
from app.refusals import Malformed, NoLongerStands, StateConflict
from app.rounds.standing import RoundAtHand, round_of_heat, round_repeated_by
from app.rules.orders import AlreadySo, AnnulHeat, Order, RestoreHeat
from app.rules.qualifying import HeatRun, Letter, ReRun
from app.rulings.final_word import Matter, jury_decided
from app.rulings.jurys_word import jury_has_the_word, jury_stands_on
from app.store.action import Unit

Kept = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Bench:
    """What orders are understood by: the meet, the heat, its round, and whose letter it is."""

    conn: Connection
    meet_id: MeetId
    meet: MeetFacts
    heat: HeatOut
    at_hand: RoundAtHand
    letter: Letter
    is_called_off: bool = False

    def after(self, effects: Sequence[Order]) -> Bench:
        """The same once these orders count; StateConflict where one does not fit what it finds,
        NoLongerStands where it is so already.
        """
        round_ = self.at_hand.round
        try:
            for effect in effects:
                round_ = effect.on(round_)
        except AlreadySo as error:
            raise NoLongerStands(str(error)) from error
        except ValueError as error:
            raise StateConflict(str(error)) from error
        drawn = self.at_hand.drawn
        if not self.at_hand.all_next_have_begun:
            drawn = {seat: TeamId(team) for seat, team in round_.seats.items()}
        at_hand = replace(self.at_hand, round=round_, drawn=drawn)
        return replace(self, at_hand=at_hand, heat=_held_back(self.heat, effects))

    def name(self, team: str) -> str:
        """The name of a team that was in this heat or round; it may have been drawn away since."""
        known = self.at_hand.names.get(team)
        return known or team_row(self.conn, self.meet_id, TeamId(team)).name

    def team(self, team: str, field: str) -> str:
        """The name of a team of this heat; Malformed for any other."""
        name = next((lane.name for lane in self.heat.lanes if lane.team == team), None)
        if name is None:
            raise Malformed("This team does not run in the heat that was protested.", field=field)
        return name

    def lane_in_round(self, team: str, field: str) -> LaneOut:
        """A team of this round in the lane it ran in, whichever heat that was: what is decided on
        one heat moves others. Malformed for a team that did not run in it.
        """
        own = next((lane for lane in self.heat.lanes if lane.team == team), None)
        if own is not None:
            return own
        lanes = lanes_of(self.conn, [HeatId(one.heat) for one in self.at_hand.round.heats])
        for lane in chain.from_iterable(lanes.values()):
            if lane.team == team:
                return lane
        raise Malformed("This team does not run in the round of this heat.", field=field)

    @property
    def run(self) -> HeatRun | ReRun:
        """This heat as the round has it; it may be a re-run of some of its teams. StateConflict
        where it is not held.
        """
        if self.heat.state is HeatState.NOT_HELD:
            raise StateConflict(
                f"{self.heat.does_not_count} So of what was run nothing can be ordered, but who "
                "goes on from its round, and that a decision is undone. A start list that draws it "
                "again makes it a heat as before."
            )
        round_ = self.at_hand.round
        of_round = next((one for one in round_.heats if one.heat == self.heat.id), None)
        again = (*round_.re_runs, *self.at_hand.called_off)
        return of_round or next(one for one in again if one.key == self.heat.id)


@dataclass(frozen=True, slots=True)
class Understood:
    """One order: what it does to the round, in words, and how it is carried out; `noted` is kept
    beside what carrying it out gives, `stays` tells what of an undoing a later decision stands in.
    """

    effect: tuple[Order, ...]
    words: str
    carry_out: Callable[[Unit, DecisionId], Kept]
    noted: Kept = field(default_factory=dict)
    stays: tuple[str, ...] = ()


def _held_back(heat_now: HeatOut, effects: Iterable[Order]) -> HeatOut:
    """The heat with the run that counts, where an order holds it back or lets its run count."""
    for effect in effects:
        match effect:
            case AnnulHeat() if effect.heat.heat == heat_now.id:
                heat_now = heat_now.model_copy(update={"state": HeatState.TO_COME})
            case RestoreHeat() if effect.heat.heat == heat_now.id:
                heat_now = heat_now.model_copy(update={"state": HeatState.JUDGED})
            case _:  # the others leave the run as it is
                pass
    return heat_now


def effects_of(understood: Iterable[Understood]) -> list[Order]:
    """What orders do to the round, one after another."""
    return [effect for one in understood for effect in one.effect]


def stays_of(understood: Iterable[Understood]) -> list[str]:
    """What orders to undo do not reach, since later decisions stand in it, a sentence each."""
    return [said for one in understood for said in one.stays]


LETTERS = {Instance.REFEREE: Letter.BY_REFEREE, Instance.JURY: Letter.BY_JURY}


def bench_for(conn: Connection, meet: MeetFacts, heat_id: HeatId, instance: Instance) -> Bench:
    """What orders about a heat are understood by.

    Of a re-run that was called off only its calling off can be undone: it is read by the round that
    it repeats, where it does not count.
    """
    facts = heat(conn, meet.id, heat_id)
    letter, at_hand = LETTERS[instance], round_of_heat(conn, meet.id, facts)
    if at_hand is not None:
        return Bench(conn, meet.id, meet, facts, at_hand, letter)
    repeated = round_repeated_by(conn, meet.id, facts)
    return Bench(conn, meet.id, meet, facts, repeated, letter, is_called_off=True)


def insist_not_the_jurys(bench: Bench, by: str | None) -> None:
    """What the jury has ordered, or let stand of what the referee ordered, the referee does not
    undo: `by` is the decision that did it. By the edition's rule, such as World Athletics TR8.11.
    """
    if bench.letter is not Letter.BY_REFEREE or by is None:
        return
    if jury_has_the_word(bench.conn, by):
        raise jurys_word(bench)


def insist_last_not_the_jurys(bench: Bench, thing: Thing) -> None:
    """The same, of whichever decision of the round was the last about something."""
    insist_not_the_jurys(bench, decided_last(bench.conn, HeatId(bench.heat.id), thing))


def insist_letter_may_go(bench: Bench, letter: Letter) -> None:
    """What bears the jury's letter, only the jury takes back."""
    if bench.letter is Letter.BY_REFEREE and letter is Letter.BY_JURY:
        raise jurys_word(bench)


def insist_jury_let_not_stand(bench: Bench, ruling: str | None) -> None:
    """What the jury has let stand is no more undone by the referee than what it has ordered."""
    if bench.letter is not Letter.BY_REFEREE or ruling is None:
        return
    if jury_stands_on(bench.conn, RulingId(ruling)):
        raise jurys_word(bench)


def insist_jury_has_not_cleared(bench: Bench, matter: Matter) -> None:
    """A team whom the jury has cleared of a matter, the referee does not disqualify for it."""
    if bench.letter is not Letter.BY_REFEREE:
        return
    decided = jury_decided(bench.conn, bench.meet_id, HeatId(bench.heat.id), matter)
    if decided is not None:
        raise jurys_word(bench, decided.appeal)


def jurys_word(bench: Bench, appeal: int | None = None) -> StateConflict:
    """What an order is refused with that would change what the jury has decided, with the appeal
    where that is known.
    """
    facts: dict[str, Any] = {} if appeal is None else {"appeal": appeal}
    on = f" on appeal {appeal}" if facts else ""
    return StateConflict(
        f"The jury has decided this{on}, and its decision is final: a referee's decision does not "
        f"change it ({bench.meet.book.jury_final_by}). With new conclusive evidence the jury can "
        "reopen its decision.",
        **facts,
    )

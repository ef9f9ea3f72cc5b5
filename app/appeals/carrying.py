"""Orders of a decision: understood first, shown, and then carried out; each can be undone.

Understanding an order gives its effect on the round (`app/rules/orders.py`), from which is shown
what it would move; its words; and the act that carries it out. What an act needs to be undone is
kept with the decision.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, assert_never

from sqlalchemy import Connection

from app.appeals.orders import (
    AdvanceIn,
    CorrectIn,
    DisqualifyIn,
    ExtraLaneIn,
    OrderIn,
    RestoreIn,
    RunAgainIn,
    SetAsideIn,
    UndoIn,
)
from app.appeals.queries import decision_row, is_the_jurys
from app.appeals.wire import Instance
from app.ids import DecisionId, DisqualificationId, HeatId, MeetId, RulingId, TeamId, new_id
from app.meets.actions import add_lane, give_back_run, remove_lane, run_whole_heat_again
from app.meets.queries import MeetFacts, heat, team_row
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.refusals import Malformed, NotFound, StateConflict
from app.results.correcting import finish_of, replace_line
from app.results.queries import result_row
from app.results.wording import listed
from app.rounds.actions import advance, call_off_re_run, order_re_run, recall_advancement
from app.rounds.standing import RoundAtHand, round_at_hand, round_of_heat
from app.rules.finding import title_of
from app.rules.orders import (
    Advance,
    AnnulHeat,
    CallOff,
    Correct,
    Disqualify,
    GiveLane,
    Order,
    Recall,
    RestoreHeat,
    RunAgain,
    SetAside,
    TakeLane,
)
from app.rules.placing import (
    THOUSANDTHS,
    Finish,
    FinishStatus,
    open_ties,
    order_contradicts_times,
    place_heat,
)
from app.rules.qualifying import Disqualified, HeatRun, Letter, Ran, ReRun, Seat
from app.rulings.decided import disqualification_in, disqualify, restore, set_aside
from app.rulings.queries import jury_stands_on
from app.sheets.race_time import parse_time, show_time
from app.store.action import Unit
from app.store.rows import AnyRow
from app.visible import likeness

Kept = Mapping[str, Any]
Line = Mapping[str, Any]


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

    @property
    def run(self) -> HeatRun | ReRun:
        """This heat as the round has it; it may be a re-run of some of its teams."""
        round_ = self.at_hand.round
        of_round = next((one for one in round_.heats if one.heat == self.heat.id), None)
        return of_round or next(one for one in round_.re_runs if one.key == self.heat.id)


@dataclass(frozen=True, slots=True)
class Understood:
    """One order: what it does to the round, in words, and how it is carried out."""

    effect: tuple[Order, ...]
    words: str
    carry_out: Callable[[Unit, DecisionId], Kept]


LETTERS = {Instance.REFEREE: Letter.BY_REFEREE, Instance.JURY: Letter.BY_JURY}


def bench_for(conn: Connection, meet: MeetFacts, heat_id: HeatId, instance: Instance) -> Bench:
    """What orders about a heat are understood by.

    A re-run that was called off is of no round any more, so it is read as one of its own.
    """
    facts = heat(conn, meet.id, heat_id)
    letter, at_hand = LETTERS[instance], round_of_heat(conn, meet.id, facts)
    if at_hand is not None:
        return Bench(conn, meet.id, meet, facts, at_hand, letter)
    alone = round_at_hand(conn, meet.id, facts.event, likeness(facts.round))
    return Bench(conn, meet.id, meet, facts, alone, letter, is_called_off=True)


def understand(bench: Bench, orders: Sequence[OrderIn]) -> list[Understood]:
    """All orders of a decision; refused where one does not fit what is stored."""
    if orders and bench.is_called_off:
        raise StateConflict(
            "This re-run was called off, so nothing can be ordered about it: reject what was "
            "lodged about it, or have it withdrawn."
        )
    understood = [
        one
        for number, order in enumerate(orders)
        for one in _understand(bench, order, f"/orders/{number}")
    ]
    _insist_list_agrees(bench, orders, understood)
    return understood


def _understand(bench: Bench, order: OrderIn, field: str) -> Iterator[Understood]:
    match order:
        case SetAsideIn():
            yield _set_aside(bench, DisqualificationId(order.disqualification))
        case RestoreIn():
            yield _restore(bench, DisqualificationId(order.disqualification))
        case DisqualifyIn():
            yield _disqualify(bench, order, field)
        case CorrectIn():
            yield _correct(bench, order, field)
        case AdvanceIn():
            yield _advance(bench, order, field)
        case ExtraLaneIn():
            yield _extra_lane(bench, order, field)
        case RunAgainIn() if order.teams:
            yield _run_again(bench, order, field)
        case RunAgainIn():
            yield _whole_heat_again(bench)
        case UndoIn():
            yield from _undo(bench, order, field)
        case _:
            assert_never(order)


def _one(conn: Connection, bench: Bench, ident: DisqualificationId) -> tuple[Any, str, str]:
    row = disqualification_in(conn, bench.meet_id, bench.heat.id, ident)
    return row, bench.name(row.team_id), f"DQ {row.rule}"


def _set_aside(bench: Bench, ident: DisqualificationId) -> Understood:
    row, name, what = _one(bench.conn, bench, ident)
    _insist_not_the_jurys(bench, row.by_decision)
    _insist_jury_let_not_stand(bench, row.by_ruling)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        set_aside(
            unit, disqualification_in(unit.conn, unit.meet_id, bench.heat.id, ident), decision
        )
        return {"did": "set aside", "disqualification": ident}

    effect = SetAside(bench.heat.id, Disqualified(row.team_id, ident))
    return Understood((effect,), f"The disqualification of {name} ({what}) is set aside.", act)


def _insist_not_the_jurys(bench: Bench, by: str | None) -> None:
    """What the jury has decided is not undone by the referee (World Athletics TR8.11)."""
    if bench.letter is not Letter.BY_REFEREE or by is None:
        return
    if is_the_jurys(bench.conn, bench.meet_id, by):
        raise _jurys_word(bench)


def _insist_jury_let_not_stand(bench: Bench, ruling: str | None) -> None:
    """What the jury has let stand is no more undone by the referee than what it has ordered."""
    if bench.letter is not Letter.BY_REFEREE or ruling is None:
        return
    if jury_stands_on(bench.conn, RulingId(ruling)):
        raise _jurys_word(bench)


def _jurys_word(bench: Bench) -> StateConflict:
    return StateConflict(
        "The jury has decided this, and its decision is final: a referee's decision does not "
        f"change it ({bench.meet.book.jury_final_by}). With new conclusive evidence the jury can "
        "reopen its decision."
    )


def _restore(bench: Bench, ident: DisqualificationId) -> Understood:
    row, name, what = _one(bench.conn, bench, ident)
    _insist_not_the_jurys(bench, row.set_aside_by)

    def act(unit: Unit, decision: DecisionId) -> Kept:
        restore(unit, disqualification_in(unit.conn, unit.meet_id, bench.heat.id, ident), decision)
        return {"did": "restored", "disqualification": ident}

    effect = Disqualify(bench.heat.id, Disqualified(row.team_id, ident), again=True)
    return Understood((effect,), f"The disqualification of {name} ({what}) counts again.", act)


def _disqualify(bench: Bench, order: DisqualifyIn, field: str) -> Understood:
    name = bench.team(order.team, f"{field}/team")
    rule, ident = bench.meet.book.reference(order.infringement), DisqualificationId(new_id())

    def act(unit: Unit, decision: DecisionId) -> Kept:
        team = TeamId(order.team)
        disqualify(
            unit, bench.heat, ident, team, order.infringement, rule, order.take_over, decision
        )
        return {"did": "restored", "disqualification": ident}

    effect = Disqualify(bench.heat.id, Disqualified(order.team, ident))
    why = title_of(order.infringement).lower()
    return Understood((effect,), f"{name} is disqualified (DQ {rule}: {why}).", act)


def _correct(bench: Bench, order: CorrectIn, field: str) -> Understood:
    name = bench.team(order.team, f"{field}/team")
    was = finish_of(bench.conn, bench.meet_id, bench.heat, TeamId(order.team))
    becomes = _corrected(was, order)

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        replaced = replace_line(unit, bench.heat, becomes)
        return {"did": "corrected", "was": dict(replaced), "becomes": dict(becomes)}

    effect = Correct(bench.heat.id, _ran(was), _ran(becomes))
    words = f"The finish of {name} is corrected: {_finish(becomes)} instead of {_finish(was)}."
    return Understood((effect,), words, act)


def _corrected(was: Line, order: CorrectIn) -> Line:
    thousandths, decimals = parse_time(order.time) if order.time else (None, was["decimals"])
    return {
        "lane": was["lane"],
        "team": was["team"],
        "status": order.status.value,
        "thousandths": thousandths,
        "decimals": max(decimals, 2),
        "place": order.place,
    }


def _insist_list_agrees(
    bench: Bench, orders: Sequence[OrderIn], understood: Sequence[Understood]
) -> None:
    """The list must still put every team in order, once all its lines are corrected."""
    corrected = {
        effect.becomes.team: effect.becomes.finish
        for one in understood
        for effect in one.effect
        if isinstance(effect, Correct)
    }
    last = max((at for at, one in enumerate(orders) if isinstance(one, CorrectIn)), default=None)
    if last is None:
        return
    finishes = [corrected.get(one.team, one.finish) for one in bench.run.ran]
    finished = [one for one in finishes if one.status is FinishStatus.FINISHED]
    untimed = [one for one in finished if one.thousandths is None]
    if untimed and any(one.decided_place is None for one in finished):
        raise Malformed(
            "Without a time for this team every team that finished needs a place: give its time.",
            field=f"/orders/{last}/time",
        )
    _insist_on_places(bench, orders, finishes)
    if order_contradicts_times(finishes) or open_ties(finishes):
        raise Malformed(
            "With this line the places of the finish list contradict its times, or leave a tie "
            "open. Correct the other teams' lines with it; or load a corrected finish list "
            "instead, and announce it.",
            field=f"/orders/{last}",
        )


def _insist_on_places(bench: Bench, orders: Sequence[OrderIn], finishes: Sequence[Finish]) -> None:
    """A place that an order gives is the one that the team gets in the list, or it is refused."""
    placed = {one.lane: one.place for one in place_heat(finishes)}
    lanes = {one.team: one.finish.lane for one in bench.run.ran}
    for at, order in enumerate(orders):
        if not isinstance(order, CorrectIn) or order.place is None:
            continue
        place = placed.get(lanes.get(order.team, 0))
        if place is not None and place != order.place:
            raise Malformed(
                f"With this line {bench.name(order.team)} would be place {place} of the finish "
                f"list, not {order.place}. Correct its time, or the other teams' lines with it.",
                field=f"/orders/{at}/place",
            )


def _ran(line: Line) -> Ran:
    return Ran(
        line["team"],
        Finish(
            line["lane"],
            FinishStatus(line["status"]),
            line["thousandths"],
            line["place"],
            line["decimals"],
        ),
    )


def _finish(line: Line) -> str:
    """A finish in words: "42.35", "42.35, place 2", "DNF"."""
    if line["status"] != FinishStatus.FINISHED:
        return str(line["status"])
    time = line["thousandths"]
    shown = "" if time is None else _exactly(time, line["decimals"])
    place = f"place {line['place']}" if line["place"] else ""
    return ", ".join(filter(None, [shown, place]))


def _exactly(time: int, decimals: int) -> str:
    """A time with the decimals it was given with: a correction may be about thousandths."""
    if decimals < THOUSANDTHS:
        return show_time(time, decimals)
    whole = show_time(time // 1000 * 1000, 2)
    return f"{whole[:-2]}{time % 1000:03d}"


def _advance(bench: Bench, order: AdvanceIn, field: str) -> Understood:
    name = bench.team(order.team, f"{field}/team")
    goal = bench.at_hand.next_round
    if not goal:
        raise StateConflict(
            "From this round nobody goes on: no next round is set for it. Set it at "
            "…/rounds/{id}, or order something else."
        )

    def act(unit: Unit, decision: DecisionId) -> Kept:
        known = advance(unit, bench.at_hand, TeamId(order.team), bench.letter, decision)
        return {"did": "advanced", "advancement": known, "team": order.team}

    effect = Advance(order.team, bench.letter)
    return Understood((effect,), f"{name} goes on to the {goal} ({bench.letter}).", act)


def _extra_lane(bench: Bench, order: ExtraLaneIn, field: str) -> Understood:
    name = bench.team(order.team, f"{field}/team")
    seat = Seat(_next_heat(bench, order, field), order.lane)

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        line = next(lane for lane in bench.heat.lanes if lane.team == order.team)
        add_lane(unit, HeatId(seat.heat), seat.lane, line)
        return {"did": "lane given", "heat": seat.heat, "lane": seat.lane, "team": order.team}

    where = bench.at_hand.seat_name(seat)
    words = f"{name} has {where} of the {bench.at_hand.next_round}."
    return Understood((GiveLane(seat, order.team),), words, act)


def _next_heat(bench: Bench, order: ExtraLaneIn, field: str) -> HeatId:
    """The heat of the next round that is meant; it must be drawn, and still to come."""
    known = {one.heat: one for one in bench.at_hand.next_heats}
    if not known:
        raise StateConflict(
            "The next round has not been drawn, so there is no lane to give yet: order that the "
            "team goes on, and draw it with the others."
        )
    if bench.at_hand.next_has_begun:
        raise StateConflict("The next round has begun, so no lane of it can be given any more.")
    if order.heat is None and len(known) > 1:
        raise Malformed(
            "The next round has more than one heat: say in which.", field=f"{field}/heat"
        )
    heat_id = HeatId(order.heat) if order.heat is not None else next(iter(known))
    if heat_id not in known:
        raise Malformed("This is no heat of the next round.", field=f"{field}/heat")
    return heat_id


def _run_again(bench: Bench, order: RunAgainIn, field: str) -> Understood:
    names = [bench.team(team, f"{field}/teams/{at}") for at, team in enumerate(order.teams)]
    to_beat = parse_time(order.time_to_beat)[0] if order.time_to_beat else None
    teams = [TeamId(team) for team in order.teams]

    def act(unit: Unit, decision: DecisionId) -> Kept:
        re_run, run_heat = order_re_run(
            unit,
            bench.heat,
            teams,
            bench.letter,
            decision,
            time_to_beat=to_beat,
            added_places=order.added_places,
        )
        return {"did": "run again", "re_run": re_run, "heat": run_heat}

    key = new_id()
    re_run = ReRun(
        key,
        tuple(order.teams),
        bench.letter,
        time_to_beat=to_beat,
        added_places=order.added_places,
    )
    return Understood((RunAgain(re_run),), _re_run_words(names, order), act)


def _re_run_words(names: Sequence[str], order: RunAgainIn) -> str:
    one = len(names) == 1
    words = f"{listed(names)} {'runs' if one else 'run'} again, the same runners in the same order"
    words += ", in the same lane" if one else ", in the same lanes"
    if order.time_to_beat:
        words += f"; the time to beat is {order.time_to_beat}"
    if order.added_places:
        best = "the best" if order.added_places == 1 else f"the best {order.added_places}"
        words += f"; {best} of them {'goes' if order.added_places == 1 else 'go'} on in addition"
    return f"{words}."


def _whole_heat_again(bench: Bench) -> Understood:
    if not isinstance(bench.run, HeatRun):
        raise StateConflict("This heat is itself a re-run: hold it back to run it once more.")

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        kept = run_whole_heat_again(unit, bench.heat)
        return {"did": "whole heat again", **kept}

    what = f"Heat {bench.heat.number} of the {bench.heat.round} runs again; its result is void."
    return Understood((AnnulHeat(bench.run),), what, act)


def _undo(bench: Bench, order: UndoIn, field: str) -> Iterator[Understood]:
    """What an earlier decision on this heat ordered, taken back in opposite order."""
    known = decision_row(bench.conn, bench.meet_id, DecisionId(order.decision))
    if known.heat_id != bench.heat.id:
        raise NotFound("There is no such decision on this heat.")
    _insist_not_the_jurys(bench, known.id)
    if not known.carried_out:
        raise Malformed("This decision ordered nothing that could be undone.", field=field)
    yield from take_back_all(bench, known)


def take_back_all(bench: Bench, decision: AnyRow) -> list[Understood]:
    """All that a decision carried out, taken back in opposite order."""
    return [take_back(bench, kept) for kept in reversed(decision.carried_out)]


def take_back(bench: Bench, kept: Kept) -> Understood:  # noqa: PLR0911  (a kind a line)
    """The opposite of what was carried out; refused where it can no longer be."""
    match kept["did"]:
        case "set aside":
            return _restore(bench, DisqualificationId(kept["disqualification"]))
        case "restored":
            return _set_aside(bench, DisqualificationId(kept["disqualification"]))
        case "corrected":
            return _put_back(bench, kept)
        case "advanced":
            return _recall(bench, kept)
        case "recalled":
            return _advance(bench, AdvanceIn(order="advance", team=kept["team"]), "/orders")
        case "lane given":
            return _take_lane(bench, kept)
        case "lane taken":
            lane = ExtraLaneIn(
                order="extra lane", team=kept["team"], lane=kept["lane"], heat=kept["heat"]
            )
            return _extra_lane(bench, lane, "/orders")
        case "run again":
            return _call_off(bench, kept)
        case "whole heat again":
            return _give_back_run(bench, kept)
    raise StateConflict(
        "What this decision ordered was itself a taking back of a re-run: order it anew instead."
    )


def _put_back(bench: Bench, kept: Kept) -> Understood:
    was, becomes = kept["becomes"], kept["was"]
    now = finish_of(bench.conn, bench.meet_id, bench.heat, TeamId(was["team"]))
    if dict(now) != dict(was):
        raise StateConflict(
            "The finish list was changed since this correction, so it cannot be taken back as it "
            "was: correct the team's line instead."
        )
    name = bench.name(was["team"])

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        replace_line(unit, bench.heat, becomes)
        return {"did": "corrected", "was": was, "becomes": becomes}

    words = f"The finish of {name} stands again as {_finish(becomes)} instead of {_finish(was)}."
    return Understood((Correct(bench.heat.id, _ran(was), _ran(becomes)),), words, act)


def _recall(bench: Bench, kept: Kept) -> Understood:
    team = kept["team"]
    letter = bench.at_hand.round.advanced.get(team)
    if letter is None:
        raise StateConflict("That this team goes on was taken back already.")

    def act(unit: Unit, decision: DecisionId) -> Kept:
        recall_advancement(unit, bench.at_hand, TeamId(team), decision)
        return {"did": "recalled", "team": team}

    words = f"That {bench.name(team)} goes on ({letter}) is taken back."
    return Understood((Recall(team, letter),), words, act)


def _take_lane(bench: Bench, kept: Kept) -> Understood:
    seat, team = Seat(kept["heat"], kept["lane"]), kept["team"]
    if bench.at_hand.next_has_begun:
        raise StateConflict("The next round has begun, so this lane can no longer be taken back.")

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        remove_lane(unit, HeatId(seat.heat), seat.lane)
        return {"did": "lane taken", "heat": seat.heat, "lane": seat.lane, "team": team}

    where = f"{bench.at_hand.seat_name(seat)} of the {bench.at_hand.next_round}"
    words = f"{bench.at_hand.names[team]} does not have {where}."
    return Understood((TakeLane(seat, team),), words, act)


def _call_off(bench: Bench, kept: Kept) -> Understood:
    known = [one for one in bench.at_hand.round.re_runs if one.key == kept["heat"]]
    if not known:
        raise StateConflict("This re-run was called off already.")
    again = heat(bench.conn, bench.meet_id, HeatId(kept["heat"]))
    if again.state is not HeatState.TO_COME or again.run:
        raise StateConflict("This re-run has been started, so it can no longer be called off.")

    def act(unit: Unit, decision: DecisionId) -> Kept:
        call_off_re_run(unit, kept["re_run"], decision)
        return {"did": "called off", "re_run": kept["re_run"], "heat": kept["heat"]}

    names = listed([bench.name(team) for team in known[0].teams])
    return Understood((CallOff(known[0]),), f"The re-run of {names} is called off.", act)


def _give_back_run(bench: Bench, kept: Kept) -> Understood:
    if bench.heat.state is not HeatState.TO_COME or bench.heat.run != kept["run"]:
        raise StateConflict("The heat has been started again since: its first result is void.")
    row = result_row(bench.conn, bench.meet_id, bench.heat.id)
    ran = tuple(_ran(line) for line in row.rows) if row is not None else ()

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        give_back_run(unit, HeatId(bench.heat.id), kept)
        return {"did": "given back"}

    words = f"Heat {bench.heat.number} of the {bench.heat.round} does not run again."
    effect = RestoreHeat(HeatRun(bench.heat.id, ran, bench.run.disqualified, is_in=row is not None))
    return Understood((effect,), words, act)

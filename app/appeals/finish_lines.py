"""The order that corrects a team's line in the finish list, and the one that puts it back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from app.appeals.bench import Bench, Kept, Understood, insist_not_the_jurys
from app.appeals.decision_queries import decisions_in_round
from app.appeals.orders import (
    CorrectIn,
    OrderIn,
)
from app.ids import DecisionId, HeatId, TeamId
from app.meets.queries import heat
from app.refusals import Malformed, NoLongerStands, StateConflict
from app.results.correcting import finish_of, replace_line
from app.rules.orders import (
    Correct,
)
from app.rules.placing import (
    THOUSANDTHS,
    Finish,
    FinishStatus,
    open_ties,
    order_contradicts_times,
    place_heat,
)
from app.rules.qualifying import Ran
from app.sheets.race_time import parse_time, show_time
from app.store.action import Unit

Line = Mapping[str, Any]


def correcting(bench: Bench, order: CorrectIn, field: str) -> Understood:
    """A team's line in the finish list is replaced; Malformed where it then contradicts itself."""
    name = bench.team(order.team, f"{field}/team")
    insist_not_the_jurys(bench, _corrected_by(bench, TeamId(order.team)))
    was = _line_of(bench, order.team)
    becomes = _corrected(was, order)

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        now = heat(unit.conn, unit.meet_id, HeatId(bench.heat.id))
        replaced = replace_line(unit, now, becomes)
        run = now.present_run
        return {"did": "corrected", "was": dict(replaced), "becomes": dict(becomes), "run": run}

    effect = Correct(bench.heat.id, ran_in(was), ran_in(becomes))
    words = f"The finish of {name} is corrected: {_finish(becomes)} instead of {_finish(was)}."
    return Understood((effect,), words, act)


def _corrected_by(bench: Bench, team: TeamId) -> DecisionId | None:
    """The decision that corrected a team's line last in the present run, or put it back there."""
    last = None
    for decision in decisions_in_round(bench.conn, HeatId(bench.heat.id)):
        for kept in decision.carried_out if decision.heat_id == bench.heat.id else ():
            if kept["did"] != "corrected" or kept["becomes"]["team"] != team:
                continue
            # What is put back names no run: it is that of the correction before it.
            if kept["run"] == bench.heat.present_run or (kept["run"] is None and last is not None):
                last = DecisionId(decision.id)
    return last


def _line_of(bench: Bench, team: str) -> Line:
    """A team's line by the round at hand, which other orders may have changed already."""
    for one in bench.run.ran:
        if one.team == team:
            return {
                "lane": one.finish.lane,
                "team": one.team,
                "status": one.finish.status.value,
                "thousandths": one.finish.thousandths,
                "decimals": one.finish.decimals,
                "place": one.finish.decided_place,
            }
    return finish_of(bench.conn, bench.meet_id, bench.heat, TeamId(team))


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


def insist_list_agrees(
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
    _insist_each_once(bench, orders)
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


def _insist_each_once(bench: Bench, orders: Sequence[OrderIn]) -> None:
    told = [order.team for order in orders if isinstance(order, CorrectIn)]
    for team in told:
        if told.count(team) > 1:
            raise StateConflict(
                f"The finish of {bench.name(team)} is corrected twice here: say once what it is."
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


def putting_back(bench: Bench, kept: Kept) -> Understood:
    """A corrected line is as it was; StateConflict where it was changed since."""
    was, becomes = kept["becomes"], kept["was"]
    if kept["run"] not in {bench.heat.present_run, None}:
        raise NoLongerStands(
            "This correction was about a race that does not count any more, so there is nothing of "
            "it to take back: correct the team's line of the present race, if that is wrong too."
        )
    stands = ran_in(_line_of(bench, was["team"]))
    if stands == ran_in(becomes) != ran_in(was):
        raise NoLongerStands("The finish list says so again already: there is nothing to correct.")
    if stands != ran_in(was):
        raise StateConflict(
            "The finish list was changed since this correction, so it cannot be taken back as it "
            "was: correct the team's line instead."
        )
    name = bench.name(was["team"])

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        replace_line(unit, bench.heat, becomes)
        return {"did": "corrected", "was": was, "becomes": becomes, "run": None}

    words = f"The finish of {name} stands again as {_finish(becomes)} instead of {_finish(was)}."
    return Understood((Correct(bench.heat.id, ran_in(was), ran_in(becomes)),), words, act)


def ran_in(line: Line) -> Ran:
    """A line of a finish list as the rules read it."""
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

"""Orders of a decision: understood first, shown, and then carried out; each can be undone.

Understanding an order gives its effect on the round (`app/rules/orders.py`), from which is shown
what it would move; its words; and the act that carries it out. What an act needs to be undone is
kept with the decision.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import assert_never

from app.appeals.bench import (
    Bench,
    Kept,
    Understood,
    effects_of,
    insist_not_the_jurys,
    stays_of,
)
from app.appeals.decision_queries import decision_row
from app.appeals.disqualifying import disqualifying, restoring, setting_aside
from app.appeals.finish_lines import correcting, insist_list_agrees, putting_back
from app.appeals.last_about import overtaken_by
from app.appeals.next_round import (
    advancing,
    advancing_again,
    giving_lane,
    insist_it_helps,
    recalling,
    recalling_with_lane,
    taking_lane,
)
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
from app.appeals.running_again import (
    calling_off,
    giving_back_run,
    holding_after_all,
    insist_each_runs_again_once,
    running_again,
    voiding_again,
    voiding_heat_and_re_runs,
)
from app.appeals.sought_in_vain import insist_not_sought_in_vain, insist_nothing_in_vain
from app.ids import DecisionId, DisqualificationId, HeatId, TeamId
from app.refusals import Malformed, NoLongerStands, NotFound, StateConflict
from app.rounds.consequences import consequences
from app.rounds.wire import ConsequencesOut
from app.store.rows import AnyRow


def understand(
    bench: Bench, orders: Sequence[OrderIn], done: Collection[int] = ()
) -> list[Understood]:
    """All orders of a decision, each by the round as those before it leave it; refused where one
    does not fit what is stored. `done`: the numbers of those for which nothing is to be done.
    """
    if bench.is_called_off and not all(_undoes_calling_off(bench, order) for order in orders):
        raise StateConflict(
            "This re-run was called off, so nothing can be ordered about it but that the decision "
            "which did so is undone: reject what was lodged about it, or have it withdrawn."
        )
    understood: list[Understood] = []
    now = bench
    for number, order in enumerate(orders):
        if number in done:
            continue
        for one in understand_one(now, order, f"/orders/{number}"):
            now = now.after(one.effect)
            understood.append(one)
    insist_list_agrees(bench, orders, understood)
    insist_each_runs_again_once(now, understood)
    insist_it_helps(now, orders)
    return understood


def shown_for(bench: Bench, orders: Sequence[OrderIn]) -> tuple[list[Understood], ConsequencesOut]:
    """Orders understood, and what they would move; what an undoing does not reach is told with what
    comes too late.
    """
    understood = understand(bench, orders)
    shown = consequences(bench.at_hand, effects_of(understood))
    told = {"too_late": [*stays_of(understood), *shown.too_late]}
    return understood, shown.model_copy(update=told)


def understand_one(bench: Bench, order: OrderIn, field: str) -> list[Understood]:
    """One order, with itself noted: by that it is known where a later sitting orders it again."""
    insist_not_sought_in_vain(bench, order)
    noted = {"order": order.model_dump(mode="json")}
    return [replace(one, noted=noted) for one in _understand(bench, order, field)]


def _understand(  # noqa: C901  (a kind a line)
    bench: Bench, order: OrderIn, field: str
) -> Iterator[Understood]:
    match order:
        case SetAsideIn():
            yield setting_aside(bench, DisqualificationId(order.disqualification))
        case RestoreIn():
            yield restoring(bench, DisqualificationId(order.disqualification))
        case DisqualifyIn():
            yield disqualifying(bench, order, field)
        case CorrectIn():
            yield correcting(bench, order, field)
        case AdvanceIn():
            yield advancing(bench, order, field)
        case RecallIn():
            yield from recalling_with_lane(bench, TeamId(order.team))
        case CallOffIn():
            yield calling_off(bench, HeatId(order.heat))
        case ExtraLaneIn():
            yield giving_lane(bench, order, field)
        case RunAgainIn() if order.teams:
            yield running_again(bench, order, field)
        case RunAgainIn():
            yield from voiding_heat_and_re_runs(bench)
        case UndoIn():
            yield from _undo(bench, order, field)
        case _:
            assert_never(order)


def _undo(bench: Bench, order: UndoIn, field: str) -> Iterator[Understood]:
    """What an earlier decision on this heat ordered, taken back in opposite order."""
    known = decision_row(bench.conn, bench.meet_id, DecisionId(order.decision))
    if known.heat_id != bench.heat.id:
        raise NotFound("There is no such decision on this heat.")
    insist_not_the_jurys(bench, known.id)
    if not known.carried_out:
        raise Malformed("This decision ordered nothing that could be undone.", field=field)
    yield from take_back_all(bench, known)


def _undoes_calling_off(bench: Bench, order: OrderIn) -> bool:
    """Whether an order undoes the decision that called the bench's own re-run off."""
    if not isinstance(order, UndoIn):
        return False
    known = decision_row(bench.conn, bench.meet_id, DecisionId(order.decision))
    called_off = {kept["heat"] for kept in known.carried_out if kept["did"] == "called off"}
    return bench.heat.id in called_off


def take_back_all(bench: Bench, decision: AnyRow) -> list[Understood]:
    """All that a decision carried out and that still stands, taken back in opposite order; what
    another decision has taken back, or ordered anew, needs no undoing, and is said beside the rest.
    NoLongerStands where nothing is left.
    """
    taken: list[Understood] = []
    gone: NoLongerStands | None = None
    stays = tuple(not_reached(bench, decision, decision.carried_out))
    for kept in reversed(decision.carried_out):
        try:
            insist_it_stands(bench, kept, decision)
            one = take_back(bench, kept)
            bench = bench.after(one.effect)
        except NoLongerStands as why:
            gone = why
        else:
            taken.append(one)
    if gone is not None and not taken:
        raise gone
    insist_nothing_in_vain(bench, taken)
    return [*taken[:-1], *(replace(one, stays=stays) for one in taken[-1:])]


def insist_it_stands(bench: Bench, kept: Kept, decision: AnyRow) -> None:
    """NoLongerStands where another decision was about the same since, and was not undone."""
    later = overtaken_by(bench.conn, HeatId(bench.heat.id), decision, kept)
    if later:
        raise NoLongerStands(
            f"A later decision was about the same, {later}, so there is nothing of this one to "
            "undo: have that one undone, if it is wrong."
        )


def not_reached(bench: Bench, decision: AnyRow, acts: Iterable[Kept]) -> Iterator[str]:
    """What of these acts an undoing leaves, since later decisions stand in it, a sentence each."""
    for kept in acts:
        later = overtaken_by(bench.conn, HeatId(bench.heat.id), decision, kept)
        if later:
            yield (
                f"This is not taken back: {kept['words']} {later.capitalize()} was about the same "
                "since, and stands."
            )


def take_back(bench: Bench, kept: Kept) -> Understood:  # noqa: C901, PLR0911  (a kind a line)
    """The opposite of what was carried out; refused where it can no longer be."""
    match kept["did"]:
        case "set aside":
            return restoring(bench, DisqualificationId(kept["disqualification"]))
        case "restored":
            return setting_aside(bench, DisqualificationId(kept["disqualification"]))
        case "corrected":
            return putting_back(bench, kept)
        case "advanced":
            return recalling(bench, TeamId(kept["team"]))
        case "recalled":
            return advancing_again(bench, kept)
        case "lane given":
            return taking_lane(bench, kept)
        case "lane taken":
            lane = ExtraLaneIn(
                order="extra lane", team=kept["team"], lane=kept["lane"], heat=kept["heat"]
            )
            return giving_lane(bench, lane, "/orders")
        case "run again" | "held after all":
            return calling_off(bench, HeatId(kept["heat"]))
        case "called off":
            return holding_after_all(bench, kept)
        case "whole heat again":
            return giving_back_run(bench, kept)
        case "given back":
            return voiding_again(bench, kept)
        case other:
            raise AssertionError(other)

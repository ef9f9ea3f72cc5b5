"""Orders about the next round: a team goes on, or has a lane of it; and their taking back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from app.appeals.bench import (
    Bench,
    Kept,
    Understood,
    insist_last_not_the_jurys,
    insist_letter_may_go,
    insist_not_the_jurys,
)
from app.appeals.last_about import its_lane, that_it_goes_on
from app.appeals.orders import (
    AdvanceIn,
    ExtraLaneIn,
    OrderIn,
    RunAgainIn,
)
from app.ids import DecisionId, HeatId, TeamId
from app.meets.actions import add_lane, remove_lane
from app.meets.lanes_given import LaneGiven, lanes_given
from app.refusals import Malformed, NoLongerStands, StateConflict
from app.rounds.actions import advance, recall_advancement
from app.rules.orders import (
    Advance,
    GiveLane,
    Recall,
    TakeLane,
)
from app.rules.qualifying import Letter, Seat
from app.store.action import Unit


def advancing(bench: Bench, order: AdvanceIn, field: str) -> Understood:
    """A team of the round goes on beside those who qualify; StateConflict where nobody goes on from
    here.
    """
    bench.lane_in_round(order.team, f"{field}/team")
    return _going_on(bench, TeamId(order.team), bench.letter)


def advancing_again(bench: Bench, kept: Kept) -> Understood:
    """A team that was recalled goes on as before, by the same letter."""
    # Recalls of before kept no letter: then it is whose decision this is.
    letter = Letter(kept.get("letter", bench.letter))
    return _going_on(bench, TeamId(kept["team"]), letter, again=True)


def _going_on(bench: Bench, team: TeamId, letter: Letter, *, again: bool = False) -> Understood:
    goal = bench.at_hand.next_round
    if not goal:
        raise StateConflict(
            "From this round nobody goes on: no next round is set for it. Set it at "
            "…/rounds/{id}, or order something else."
        )
    insist_last_not_the_jurys(bench, that_it_goes_on(team))

    def act(unit: Unit, decision: DecisionId) -> Kept:
        known = advance(unit, bench.at_hand, team, letter, decision)
        return {"did": "advanced", "advancement": known, "team": team}

    effect = Advance(team, letter, again=again)
    return Understood((effect,), f"{bench.name(team)} goes on to the {goal} ({letter}).", act)


def recalling(bench: Bench, team: TeamId) -> Understood:
    """That a team goes on by a decision is taken back."""
    letter = bench.at_hand.round.advanced.get(team)
    if letter is None:
        raise NoLongerStands("This team was not advanced by a decision, or that was taken back.")
    insist_letter_may_go(bench, letter)
    insist_last_not_the_jurys(bench, that_it_goes_on(team))

    def act(unit: Unit, decision: DecisionId) -> Kept:
        recall_advancement(unit, bench.at_hand, team, decision)
        return {"did": "recalled", "team": team, "letter": letter.value}

    words = f"That {bench.name(team)} goes on ({letter}) is taken back."
    return Understood((Recall(team, letter),), words, act)


def recalling_with_lane(bench: Bench, team: TeamId) -> Iterator[Understood]:
    """That a team goes on by a decision is taken back, and with it the lane that a decision gave
    it, unless it goes on all the same: no start list may take that lane from it.
    """
    recalled = recalling(bench, team)
    yield recalled
    given = _lane_given(bench, team)
    if given is None or _begun_at(bench, _seat_of(bench, team)) is not None:
        return
    after = bench.after(recalled.effect).at_hand.stand()
    if team not in after.teams or after.teams[team].letter is None:
        insist_not_the_jurys(bench, given.by)
        yield taking_lane(bench, {"team": team})


def _lane_given(bench: Bench, team: TeamId) -> LaneGiven | None:
    """The lane of the next round that a team has by a decision, if it has one."""
    seat = _seat_of(bench, team)
    given = lanes_given(bench.conn, bench.meet_id)
    return next(
        (one for one in given if one.team == team and seat is not None and seat.heat in one.heats),
        None,
    )


def _seat_of(bench: Bench, team: str) -> Seat | None:
    return next((seat for seat, by in bench.at_hand.drawn.items() if by == team), None)


def _begun_at(bench: Bench, seat: Seat | None) -> str | None:
    """The heat of a lane as people name it, once it has begun: nobody's lane changes in it."""
    begun = {one.heat for one in bench.at_hand.next_heats if one.has_begun}
    if seat is None or seat.heat not in begun:
        return None
    if len(bench.at_hand.next_heats) == 1:
        return "The next round"
    return f"{bench.at_hand.heat_names[HeatId(seat.heat)].capitalize()} of the next round"


def giving_lane(bench: Bench, order: ExtraLaneIn, field: str) -> Understood:
    """A team has a free lane of the next round as it is drawn."""
    line = bench.lane_in_round(order.team, f"{field}/team")
    insist_last_not_the_jurys(bench, its_lane(order.team))
    seat = Seat(_next_heat(bench, order, field), order.lane)

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        add_lane(unit, HeatId(seat.heat), seat.lane, line)
        return {"did": "lane given", "heat": seat.heat, "lane": seat.lane, "team": order.team}

    where = bench.at_hand.seat_name(seat)
    words = f"{line.name} has {where} of the {bench.at_hand.next_round}."
    return Understood((GiveLane(seat, order.team),), words, act)


def insist_it_helps(bench: Bench, orders: Sequence[OrderIn]) -> None:
    """What is ordered for a team must help it, by the round as all these orders leave it: nobody
    who is disqualified goes on or gains by running again, and a lane is for who goes on.
    """
    helped = [team for order in orders for team in _helped(order)]
    if not helped:
        return
    after = bench.at_hand.stand()
    for team in helped:
        if team in after.teams and after.teams[team].is_disqualified:
            raise StateConflict(
                f"{bench.name(team)} is disqualified, so this order would be of no use to it: "
                "order “set aside” with it, or leave it out."
            )
    for team in [order.team for order in orders if isinstance(order, ExtraLaneIn)]:
        if team not in after.teams or after.teams[team].letter is None:
            raise StateConflict(
                f"{bench.name(team)} does not go on to the {bench.at_hand.next_round}, so a lane "
                "there is of no use to it: order “advance” with it, or leave the lane out."
            )


def _helped(order: OrderIn) -> Sequence[str]:
    """Whom an order is for; nobody where it is for the whole heat, or against a team."""
    match order:
        case AdvanceIn() | ExtraLaneIn():
            return [order.team]
        case RunAgainIn():
            return order.teams
        case _:
            return []


def _next_heat(bench: Bench, order: ExtraLaneIn, field: str) -> HeatId:
    """The heat of the next round that is meant; it must be drawn, and still to come."""
    known = {one.heat: one for one in bench.at_hand.next_heats}
    if not known:
        raise StateConflict(
            "The next round has not been drawn, so there is no lane to give yet: order that the "
            "team goes on, and draw it with the others."
        )
    if order.heat is None and len(known) > 1:
        raise Malformed(
            "The next round has more than one heat: say in which.", field=f"{field}/heat"
        )
    heat_id = HeatId(order.heat) if order.heat is not None else next(iter(known))
    if heat_id not in known:
        raise Malformed("This is no heat of the next round.", field=f"{field}/heat")
    begun = _begun_at(bench, Seat(heat_id, order.lane))
    if begun is not None:
        raise StateConflict(f"{begun} has begun, so no lane of it can be given any more.")
    return heat_id


def taking_lane(bench: Bench, kept: Kept) -> Understood:
    """A lane that a decision gave is taken back, until its heat begins: the one that the team has
    now, where a start list has moved it since.
    """
    team = kept["team"]
    seat = _seat_of(bench, team)
    begun = _begun_at(bench, seat)
    if begun is not None:
        raise StateConflict(f"{begun} has begun, so this lane can no longer be taken back.")
    if seat is None:
        raise NoLongerStands(
            f"{bench.name(team)} has no lane of the next round any more, so there is none to take "
            "back: the start list or another decision has taken it away since."
        )

    def act(unit: Unit, _decision: DecisionId) -> Kept:
        remove_lane(unit, HeatId(seat.heat), seat.lane)
        return {"did": "lane taken", "heat": seat.heat, "lane": seat.lane, "team": team}

    where = f"{bench.at_hand.seat_name(seat)} of the {bench.at_hand.next_round}"
    words = f"{bench.name(team)} no longer has {where}."
    return Understood((TakeLane(seat, team),), words, act)

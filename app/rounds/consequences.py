"""What would a ruling or a decision move, and what comes too late to be moved?

Shown before it is signed. What a change of a list, a disqualification or a word of the referee does
to a round is the rules' business (`app/rules/orders.py`, `moves.py`); here it gets its names.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from app.ids import TeamId
from app.meets.states import HeatState
from app.refusals import StateConflict
from app.rounds.standing import NextHeat, RoundAtHand
from app.rounds.telling import side
from app.rounds.wire import ConsequencesOut, MoveOut, NamedTeam
from app.rules.moves import Move, difference, sentence, summary
from app.rules.orders import Order, apply, named_in
from app.rules.qualifying import RoundStanding, Seat


def consequences(at_hand: RoundAtHand, orders: Sequence[Order]) -> ConsequencesOut:
    """What these orders would move in the round. StateConflict where one does not fit it."""
    return consequences_of_each(at_hand, [orders])[0]


def consequences_of_each(
    at_hand: RoundAtHand, choices: Sequence[Sequence[Order]]
) -> list[ConsequencesOut]:
    """The same for several choices between orders. Where the round stands now is worked out once:
    in a round of 800 teams that takes longer than all the rest.
    """
    before = at_hand.stand()
    return [_consequences(at_hand, before, orders) for orders in choices]


def _consequences(
    at_hand: RoundAtHand, before: RoundStanding, orders: Sequence[Order]
) -> ConsequencesOut:
    try:
        changed = replace(at_hand, round=apply(at_hand.round, orders))
    except ValueError as error:
        raise StateConflict(str(error)) from error
    after = changed.stand() if orders else before
    moves = difference(before, after)
    return ConsequencesOut(
        moves=[
            MoveOut(
                team=TeamId(move.team),
                name=at_hand.names[move.team],
                affiliation=at_hand.affiliations[move.team],
                sentence=_sentence(at_hand, move),
                before=side(at_hand, before, move.before),
                after=side(changed, after, move.after),
            )
            for move in moves
        ],
        named=_named(at_hand, orders),
        summary=summary(moves, at_hand.names, at_hand.next_round),
        affiliations=_affected(at_hand, moves),
        too_late=[
            *(words for move in moves for words in _too_late(at_hand, move)),
            *_too_late_to_run(at_hand, changed),
        ],
    )


def _named(at_hand: RoundAtHand, orders: Sequence[Order]) -> list[NamedTeam]:
    """Whom the orders are about, by name; a team that was drawn away since has none here."""
    names = {team: at_hand.names[team] for team in named_in(orders) if team in at_hand.names}
    in_order = sorted(names.items(), key=lambda one: (one[1], one[0]))
    return [NamedTeam(team=TeamId(team), name=name) for team, name in in_order]


def _sentence(at_hand: RoundAtHand, move: Move) -> str:
    name = at_hand.names[move.team]
    return sentence(move, name, at_hand.next_round, at_hand.seat_name)


def _affected(at_hand: RoundAtHand, moves: Sequence[Move]) -> list[str]:
    """Whose teams are moved; a team without an affiliation stands for itself."""
    found = (at_hand.affiliations[move.team] or at_hand.names[move.team] for move in moves)
    return sorted(set(found))


def _too_late(at_hand: RoundAtHand, move: Move) -> Iterator[str]:
    """What the next round, as far as it has begun, has settled for a team."""
    name = at_hand.names[move.team]
    begun = [heat for heat in at_hand.next_heats if heat.has_begun]
    seat = _seat_in(at_hand, move.team, begun)
    if move.loses_next_round and seat is not None:
        heat = next(one for one in begun if one.heat == seat.heat)
        ran = "runs" if heat.state is HeatState.RUNNING else "ran"
        yield (
            f"{_has_begun(at_hand, heat)}: {name} {ran} in it in lane {seat.lane}. "
            "This decision does not change that result."
        )
    is_given = move.after.seat is not None and not move.after.is_seat_free
    is_drawn = is_given or _seat_in(at_hand, move.team, at_hand.next_heats) is not None
    if move.gains_next_round and begun and not is_drawn:
        yield _no_lane(at_hand, name, begun)


def _seat_in(at_hand: RoundAtHand, team: str, heats: Sequence[NextHeat]) -> Seat | None:
    among = {heat.heat for heat in heats}
    taken = (seat for seat, by in at_hand.drawn.items() if by == team and seat.heat in among)
    return next(taken, None)


def _too_late_to_run(at_hand: RoundAtHand, changed: RoundAtHand) -> Iterator[str]:
    """What running again can no longer bring, once the next round has begun."""
    begun = [heat for heat in at_hand.next_heats if heat.has_begun]
    if not begun:
        return
    known = {one.key for one in at_hand.round.re_runs}
    drawn = set(at_hand.drawn.values())
    for re_run in changed.round.re_runs:
        if re_run.key not in known:
            for team in re_run.teams:
                if team not in drawn:
                    yield _no_lane(at_hand, at_hand.names[team], begun)
    was_in = {heat.heat for heat in at_hand.round.heats if heat.is_in}
    if any(heat.heat in was_in and not heat.is_in for heat in changed.round.heats):
        yield _no_lane(at_hand, "whoever comes in by the heat that runs again", begun)


def _no_lane(at_hand: RoundAtHand, name: str, begun: Sequence[NextHeat]) -> str:
    """What has begun of the next round, and where a team that is not in it can still run."""
    left = [at_hand.heat_names[one.heat] for one in at_hand.next_heats if not one.has_begun]
    if left:
        where = " or ".join(left)
        return f"The next round has begun: {name} can be given a lane only in {where}."
    if len(begun) == 1:
        it = _has_begun(at_hand, begun[0])
        return f"{it}: {name} did not run in it and can no longer be given a lane."
    said = "have been run" if all(map(_is_over, begun)) else "have been started"
    return (
        f"All heats of the {at_hand.next_round} {said}: {name} did not run in them and can no "
        "longer be given a lane."
    )


def _has_begun(at_hand: RoundAtHand, heat: NextHeat) -> str:
    said = "has been run" if _is_over(heat) else "has been started"
    if len(at_hand.next_heats) == 1:
        return f"The {at_hand.next_round} {said}"
    name = at_hand.heat_names[heat.heat]
    return f"{name.capitalize()} of the {at_hand.next_round} {said}"


def _is_over(heat: NextHeat) -> bool:
    return heat.state is not HeatState.RUNNING

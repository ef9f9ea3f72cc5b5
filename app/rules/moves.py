"""What does a change move: who gains or loses the next round, a place, a lane, points?

Two standings of one round, before and after, become moves; a move becomes a sentence that an
official can read out. Teams, lanes and the next round have the names that the caller gives them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain, repeat
from math import inf
from typing import Final

from app.rules.points import NOTHING
from app.rules.round_parts import Letter, RoundStanding, Seat, Standing

MOST_TOLD: Final = 4
AFTER_ALL_PLACES: Final = inf
IN_WORDS: Final = {
    Letter.BY_PLACE: "by place",
    Letter.BY_TIME: "by time",
    Letter.BY_DRAW: "by lot",
    Letter.BY_REFEREE: "by the referee's decision",
    Letter.BY_JURY: "by the jury's decision",
}
SHORTLY: Final = {**IN_WORDS, Letter.BY_TIME: "on time"}


@dataclass(frozen=True, slots=True)
class Move:
    """A team that stands otherwise than before."""

    team: str
    before: Standing
    after: Standing

    @property
    def changes_place(self) -> bool:
        return self.before.place != self.after.place

    @property
    def changes_overall(self) -> bool:
        return self.before.overall != self.after.overall

    @property
    def changes_disqualification(self) -> bool:
        return self.before.is_disqualified != self.after.is_disqualified

    @property
    def changes_qualification(self) -> bool:
        """It goes on by something else, or gains or loses the next round."""
        return self.before.letter != self.after.letter

    @property
    def gains_next_round(self) -> bool:
        return self.before.letter is None and self.after.letter is not None

    @property
    def loses_next_round(self) -> bool:
        """It went on and does not now, or not until what is open has been settled."""
        return self.before.letter is not None and self.after.letter is None

    @property
    def changes_tie(self) -> bool:
        """It has a chance to go on by lot, and had none; or the reverse, without going on."""
        neither_goes_on = self.before.letter is None and self.after.letter is None
        return neither_goes_on and self.before.draws_lots != self.after.draws_lots

    @property
    def changes_seat(self) -> bool:
        """It has another lane of the next round, or the one that was only free for it, or it has
        that no more.
        """
        seats = [(one.seat, one.is_seat_free) for one in (self.before, self.after)]
        return seats[0] != seats[1]

    @property
    def changes_points(self) -> bool:
        return self.before.points != self.after.points


def difference(before: RoundStanding, after: RoundStanding) -> tuple[Move, ...]:
    """Every team that stands otherwise: first who loses or gains the next round, then those whose
    own disqualification changed, then places, points, and the rest.

    Who gains the next round stands in the qualifiers' order; all others as a result is read: by the
    place after, then by the place before, whoever has none last, but the disqualified team before
    those that it takes along. A team that one of the two does not know, because the list of its
    heat has gone or come, stands nowhere there.
    """
    moves = [
        Move(team, before.teams.get(team) or _nowhere(after.teams[team], before), standing)
        for team, standing in after.teams.items()
        if before.teams.get(team) != standing
    ]
    gone = (team for team in before.teams if team not in after.teams)
    moves.extend(
        Move(team, before.teams[team], _nowhere(before.teams[team], after)) for team in gone
    )
    return tuple(sorted(filter(_moves_anything, moves), key=_reading_order))


def sentence(move: Move, name: str, next_round: str, seat_name: Callable[[Seat], str]) -> str:
    """One plain sentence about a move; `next_round` is its bare name ("final"), empty for none."""
    said = [*_about_disqualification(move), *_about_next_round(move, next_round)]
    said += [*_about_place(move), *_about_overall(move), *_about_seat(move, seat_name)]
    points = _points_instead(move) if move.changes_points else ""
    free = _free_seat(move, seat_name)
    if not (said or free) and points:
        return f"{name} has {points}."
    told = _listed(said or ["is not drawn" if free else "stands as before"])
    return f"{'; '.join(filter(None, (f'{name} {told}', free, points)))}."


def summary(moves: Sequence[Move], names: Mapping[str, str], next_round: str) -> str:
    """One line: who loses or gains the next round, or ties for it; where nobody does, what else
    moves.
    """
    if not moves:
        return "nothing moves"
    deciding = [
        move for move in moves if move.loses_next_round or move.gains_next_round or move.changes_tie
    ]
    told = [
        f"{names[move.team]} {_in_short(move, next_round if first else '')}"
        for first, move in zip(chain([True], repeat(False)), deciding or moves, strict=False)
    ]
    more = len(told) - MOST_TOLD
    return ", ".join(told[:MOST_TOLD]) + (f", and {more} more" if more > 0 else "")


def _moves_anything(move: Move) -> bool:
    """Which list names a team is no difference by itself: it comes and goes with the list."""
    return replace(move.before, heat=move.after.heat) != move.after


def _nowhere(known: Standing, unknowing: RoundStanding) -> Standing:
    """How a team stands in a round whose lists do not name it: open until they are complete."""
    return Standing(
        known.team, known.heat, None, False, None, NOTHING, None, not unknowing.is_complete
    )


def _weight(move: Move) -> int:
    weights = (
        move.loses_next_round,
        move.gains_next_round,
        move.changes_tie,
        move.changes_disqualification,
        move.changes_place,
        move.changes_overall,
        move.changes_points,
    )
    return weights.index(True) if any(weights) else len(weights)


def _reading_order(move: Move) -> tuple[float, ...]:
    """The weightiest first, and within that by place; who has none is told last."""
    weight = _weight(move)
    if not move.loses_next_round and move.gains_next_round:
        return (weight,)
    places = tuple(one.place or AFTER_ALL_PLACES for one in (move.after, move.before))
    return (weight, not move.changes_disqualification, *places)


def _about_disqualification(move: Move) -> Iterator[str]:
    if move.changes_disqualification:
        yield "is disqualified" if move.after.is_disqualified else "is no longer disqualified"


def _about_next_round(move: Move, next_round: str) -> Iterator[str]:
    before, after = move.before, move.after
    goal = f"in {_the(next_round)}" if next_round else "through"
    if move.loses_next_round and after.is_open:
        yield f"is no longer sure to be {goal}"
    elif move.loses_next_round or (_gives_up_seat(move) and after.letter is None):
        yield f"is out of {_the(next_round)}" if next_round else "does not go on"
    elif after.letter and before.letter and move.changes_qualification:
        yield f"is {goal} {_by(after.letter)} instead of {_by(before.letter)}"
    elif after.letter and move.gains_next_round:
        yield f"is {goal} {_by(after.letter)}"
    elif move.changes_tie and after.draws_lots:
        yield f"ties for {_going_on(next_round)}, so that lots decide"
    elif move.changes_tie:
        yield f"no longer ties for {_going_on(next_round)}"


def _about_place(move: Move) -> Iterator[str]:
    before, after = move.before.place, move.after.place
    if not move.changes_place:
        return
    if before is None:
        yield f"takes place {after}"
    elif after is not None:
        yield f"moves from place {before} to place {after}"
    elif not move.after.is_disqualified:
        yield f"loses place {before}"


def _about_overall(move: Move) -> Iterator[str]:
    before, after = move.before.overall, move.after.overall
    if not move.changes_overall:
        return
    if before is None:
        yield f"takes place {after} overall"
    elif after is not None:
        yield f"has place {after} overall instead of {before}"
    elif not move.after.is_disqualified:
        yield f"loses place {before} overall"


def _about_seat(move: Move, seat_name: Callable[[Seat], str]) -> Iterator[str]:
    before, after = _held(move.before), move.after.seat
    if move.after.is_seat_free:
        if before is not None:
            yield f"no longer has {seat_name(before)}"
        return
    was_free = move.before.seat if move.before.is_seat_free else None
    if was_free is not None and after is None and not move.loses_next_round:
        yield f"no longer has {seat_name(was_free)} free for it"
    if after is not None and before is None and move.after.letter is None:
        yield f"keeps {seat_name(after)} until it is settled who goes on"
    elif after is not None and before is None:
        yield f"gets {seat_name(after)}"
    elif after is not None and before is not None and before != after:
        yield f"changes from {seat_name(before)} to {seat_name(after)}"
    elif before is not None and after is None and move.after.letter:
        yield f"gives up {seat_name(before)}"


def _free_seat(move: Move, seat_name: Callable[[Seat], str]) -> str:
    """The lane that is free for a team: who draws the round gives it, not who decides."""
    if not move.changes_seat or move.after.seat is None or not move.after.is_seat_free:
        return ""
    return f"{seat_name(move.after.seat)} is free for it"


def _held(standing: Standing) -> Seat | None:
    """The lane in which a team is drawn; one that is only free for it, it does not have."""
    return None if standing.is_seat_free else standing.seat


def _gives_up_seat(move: Move) -> bool:
    return _held(move.before) is not None and move.after.seat is None


def _points_instead(move: Move) -> str:
    before, after = _points(move.before.points), _points(move.after.points)
    if not move.after.points:
        return f"no points instead of {before}"
    return f"{after} {'point' if after == '1' else 'points'} instead of {before}"


def _points(points: Fraction) -> str:
    """Points as people write them: 6, 6.5, 5.333, none."""
    return f"{float(points):.3f}".rstrip("0").rstrip(".") if points else "none"


def _in_short(move: Move, next_round: str) -> str:
    """A move in a few words after the name of its team."""
    if move.loses_next_round:
        of_it = f" of {_the(next_round)}" if next_round else ""
        return f"{'unsure' if move.after.is_open else 'out'}{of_it}"
    if move.gains_next_round and move.after.letter:
        return f"in{' ' + _the(next_round) if next_round else ''} {SHORTLY[move.after.letter]}"
    if move.changes_tie:
        goal = f" for {_going_on(next_round)}" if next_round else ""
        return f"{'tied' if move.after.draws_lots else 'no longer tied'}{goal}"
    if move.changes_disqualification:
        return "disqualified" if move.after.is_disqualified else "reinstated"
    return _rest_in_short(move)


def _rest_in_short(move: Move) -> str:
    if move.changes_overall:
        return f"from {_place(move.before.overall)} to {_place(move.after.overall)} overall"
    if move.changes_place:
        return f"from {_place(move.before.place)} to {_place(move.after.place)}"
    if move.changes_points:
        return f"on {_points_instead(move)}"
    if move.changes_qualification and move.after.letter:
        return f"in {SHORTLY[move.after.letter]}"
    return _lane_in_short(move) if move.changes_seat else "as before"


def _lane_in_short(move: Move) -> str:
    if _held(move.after) is not None:
        return "in a lane" if _held(move.before) is None else "in another lane"
    return "without a lane" if move.after.seat is None else "with a lane free for it"


def _place(place: int | None) -> str:
    return "no place" if place is None else f"place {place}"


def _by(letter: Letter) -> str:
    return f"{IN_WORDS[letter]} ({letter})"


def _the(next_round: str) -> str:
    return next_round if next_round.startswith("the ") else f"the {next_round}"


def _going_on(next_round: str) -> str:
    return f"a place in {_the(next_round)}" if next_round else "going on"


def _listed(said: Sequence[str]) -> str:
    return " and ".join(filter(None, [", ".join(said[:-1]), said[-1]]))

"""What is to be said about a round beside where its teams stand: what is still open, what did not
come out as it was set, and what the draw of the next round has otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from app.ids import HeatId, TeamId
from app.results.wording import listed, tie
from app.rounds.standing import RoundAtHand
from app.rules.placing import FinishStatus
from app.rules.qualifying import Letter, OpenDraw, RoundStanding

MOST_NAMED = 5
FILLING = frozenset({Letter.BY_PLACE, Letter.BY_TIME, Letter.BY_DRAW})
"""The letters of the places that a round promises; the referee's and the jury's come on top."""


def named(at_hand: RoundAtHand, teams: Iterable[str]) -> str:
    """Teams as people list them: "Tern, Gull and Heron"."""
    return listed([at_hand.names[team] for team in teams])


def _first_of(at_hand: RoundAtHand, teams: Sequence[str]) -> str:
    """The first few of many teams: "Tern, Gull and 12 more"."""
    names = [at_hand.names[team] for team in teams[:MOST_NAMED]]
    more = len(teams) - len(names)
    return listed([*names, f"{more} more"] if more else names)


def sentences(
    at_hand: RoundAtHand,
    standing: RoundStanding,
    times: Mapping[TeamId, str],
    *,
    for_everybody: bool,
) -> Iterator[str]:
    """All that is to be said. For everybody not how the draw of the next round differs: it is made
    by what is decided, and would tell that before it is announced.
    """
    yield from _still_open(at_hand, standing)
    yield from _disqualified_in_re_runs(at_hand)
    yield from _without_times(at_hand, standing, times)
    if standing.unseated:
        left_over = named(at_hand, standing.unseated)
        yield f"There is no lane left in the {at_hand.next_round} for {left_over}."
    if not for_everybody:
        yield from drawn_otherwise(at_hand, standing)


def _still_open(at_hand: RoundAtHand, standing: RoundStanding) -> Iterator[str]:
    awaited = [at_hand.heat_names[run.heat] for run in at_hand.round.heats if not run.is_in]
    if len(awaited) > MOST_NAMED:
        yield f"The results of {len(awaited)} heats are awaited."
    else:
        yield from (f"The result of {heat} is awaited." for heat in awaited)
    for re_run in at_hand.round.re_runs:
        if not re_run.ran:
            name = at_hand.heat_names[HeatId(re_run.key)]
            yield f"To run again: {named(at_hand, re_run.teams)} ({name})."
    if standing.open_draw is not None:
        yield f"{tie_in_words(at_hand, standing.open_draw)}: lots decide."


def tie_in_words(at_hand: RoundAtHand, draw: OpenDraw) -> str:
    """Who ties for what: "Gull and Curlew tie for one place"."""
    return tie([at_hand.names[team] for team in draw.teams], draw.places)


def _disqualified_in_re_runs(at_hand: RoundAtHand) -> Iterator[str]:
    """That a disqualification in a re-run costs a team what it ran in its heat too
    (`rules/running_again.py`). Nothing of who is out of its heat anyway.
    """
    out = {one.team for heat in at_hand.round.heats for one in heat.disqualified}
    for re_run in at_hand.round.re_runs:
        for team in sorted({one.team for one in re_run.disqualified} - out):
            name = at_hand.names[team]
            yield (
                f"{name} is disqualified in its re-run: nothing that it ran in this round counts."
            )


def _without_times(
    at_hand: RoundAtHand, standing: RoundStanding, times: Mapping[TeamId, str]
) -> Iterator[str]:
    """That fewer go on than were promised, since nobody can rank by time who has none."""
    advancement = at_hand.round.advancement
    if advancement is None or not standing.is_complete or standing.open_draw is not None:
        return
    filled = sum(one.letter in FILLING for one in standing.teams.values())
    left = advancement.promised(len(at_hand.round.heats)) - filled
    untimed = [team for team in _finished(at_hand) if _is_passed_over(standing, times, team)]
    if left > 0 and untimed:
        without = "times" if len(untimed) > 1 else "a time"
        stays = "one place stays" if left == 1 else f"{left} places stay"
        yield (
            f"{_first_of(at_hand, untimed)} finished without {without} and cannot be ranked by "
            f"time: {stays} free."
        )


def _finished(at_hand: RoundAtHand) -> Iterator[str]:
    for heat in at_hand.round.heats:
        for run in heat.ran:
            if run.finish.status is FinishStatus.FINISHED:
                yield run.team


def _is_passed_over(standing: RoundStanding, times: Mapping[TeamId, str], team: str) -> bool:
    one = standing.teams[team]
    return TeamId(team) not in times and one.letter is None and not one.is_disqualified


def drawn_otherwise(at_hand: RoundAtHand, standing: RoundStanding) -> Iterator[str]:
    """Who is drawn into the next round and has not qualified, and the other way round. Nothing of a
    round that is still to be drawn: no heat of it is awaited, and nobody can have qualified.
    """
    if not at_hand.is_drawn or not standing.is_complete or not at_hand.drawn:
        return
    drawn = list(dict.fromkeys(at_hand.drawn.values()))
    strangers = [team for team in drawn if _has_not_qualified(standing, team)]
    missing = set(standing.qualified).difference(drawn, standing.unseated)
    left_out = [team for team in standing.qualified if team in missing]
    if strangers:
        yield (
            f"Drawn into the {at_hand.next_round} without having qualified: "
            f"{_first_of(at_hand, strangers)}."
        )
    if left_out:
        missed = _first_of(at_hand, left_out)
        yield f"Qualified and not drawn into the {at_hand.next_round}: {missed}."


def _has_not_qualified(standing: RoundStanding, team: str) -> bool:
    known = standing.teams.get(team)
    return known is None or (known.letter is None and not known.is_open)

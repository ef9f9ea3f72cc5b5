"""A round's standing as documents: team by team, and on either side of a change.

Only lanes that are drawn are told to everybody; which lane would fall to whom is for the desk.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from app.ids import HeatId, TeamId
from app.rounds.sentences import sentences
from app.rounds.standing import RoundAtHand
from app.rounds.wire import (
    MoveSide,
    OpenDrawOut,
    RoundStandingOut,
    SeatOut,
    StandingOut,
    TeamLine,
    show_points,
)
from app.rules.placing import HUNDREDTHS, Finish
from app.rules.qualifying import HeatRun, ReRun, RoundStanding, Seat, Standing
from app.rules.running_again import beats
from app.sheets.race_time import show_time


def letter_of(at_hand: RoundAtHand, standing: RoundStanding, team: TeamId) -> str | None:
    """A team's letter; empty: not through; None: not known yet, or nobody goes on from here."""
    known = standing.teams.get(team)
    if known is None or at_hand.round.advancement is None:
        return None
    if known.letter is not None:
        return known.letter.value
    return None if known.is_open or not standing.is_complete else ""


def better_times(at_hand: RoundAtHand) -> Mapping[TeamId, str]:
    """Each team's time as shown, the better one where it ran again; none for who is out."""
    runs: list[HeatRun | ReRun] = [*at_hand.round.heats, *at_hand.round.re_runs]
    out = {one.team for run in runs for one in run.disqualified}
    best: dict[TeamId, Finish] = {}
    for run in runs:
        for one in run.ran:
            if one.team not in out and _is_better(one.finish, best.get(TeamId(one.team))):
                best[TeamId(one.team)] = one.finish
    return {
        team: show_time(finish.thousandths or 0, finish.decimals) for team, finish in best.items()
    }


def ran_again(at_hand: RoundAtHand) -> Mapping[TeamId, str]:
    """What each team came to that ran again, in words: its heat's list has its first time."""
    found = {}
    for re_run in at_hand.round.re_runs:
        for one in re_run.ran:
            found[TeamId(one.team)] = f"Ran again: {_came_to(re_run, one.finish)}"
    return found


def _came_to(re_run: ReRun, finish: Finish) -> str:
    if finish.thousandths is None:
        return str(finish.status)
    time = show_time(finish.thousandths, finish.decimals)
    if re_run.time_to_beat is None:
        return time
    to_beat = show_time(re_run.time_to_beat, HUNDREDTHS)
    return (
        f"{time}, {'faster' if beats(finish, re_run.time_to_beat) else 'not faster'} than {to_beat}"
    )


def _is_better(finish: Finish, than: Finish | None) -> bool:
    if finish.thousandths is None:
        return False
    return than is None or finish.thousandths < (than.thousandths or 0)


def standing_out(at_hand: RoundAtHand, *, only_drawn: bool) -> RoundStandingOut:
    """A round's standing; `only_drawn` leaves out lanes that would only fall to somebody."""
    standing = at_hand.stand()
    times = better_times(at_hand)
    seats = _seats(at_hand, standing, only_drawn=only_drawn)
    return RoundStandingOut(
        event=at_hand.event,
        event_name=at_hand.event_name,
        round=at_hand.round_name,
        next_round=at_hand.next_round,
        is_complete=standing.is_complete,
        teams=[
            _team_out(at_hand, standing, one, times, seats)
            for one in standing.teams.values()
            if one.heat
        ],
        open_draw=open_draw_out(at_hand, standing),
        unseated=_lines(at_hand, standing.unseated),
        sentences=list(sentences(at_hand, standing, times, for_everybody=only_drawn)),
    )


def open_draw_out(at_hand: RoundAtHand, standing: RoundStanding) -> OpenDrawOut | None:
    """Between whom lots decide as it stands, None where none are to be drawn."""
    draw = standing.open_draw
    if draw is None:
        return None
    return OpenDrawOut(teams=_lines(at_hand, draw.teams), places=draw.places)


def _team_out(
    at_hand: RoundAtHand,
    standing: RoundStanding,
    one: Standing,
    times: Mapping[TeamId, str],
    seats: Mapping[str, Seat],
) -> StandingOut:
    team = TeamId(one.team)
    return StandingOut(
        team=team,
        name=at_hand.names[team],
        affiliation=at_hand.affiliations[team],
        heat=HeatId(one.heat),
        heat_number=at_hand.heat_numbers[one.heat],
        place=one.place,
        overall=one.overall,
        time=times.get(team, ""),
        is_disqualified=one.is_disqualified,
        letter=letter_of(at_hand, standing, team),
        points=show_points(one.points),
        seat=seat_out(at_hand, seats.get(team), team),
    )


def _seats(
    at_hand: RoundAtHand, standing: RoundStanding, *, only_drawn: bool
) -> Mapping[str, Seat]:
    if only_drawn or at_hand.all_next_have_begun:
        return {team: seat for seat, team in at_hand.drawn.items()}
    return {one.team: one.seat for one in standing.teams.values() if one.seat is not None}


def seat_out(at_hand: RoundAtHand, seat: Seat | None, team: str) -> SeatOut | None:
    """A team's lane of the next round with its heat's number, drawn or free for it."""
    if seat is None:
        return None
    heat, drawn = HeatId(seat.heat), at_hand.round.seats or at_hand.drawn
    return SeatOut(
        heat=heat,
        heat_number=at_hand.heat_numbers[heat],
        lane=seat.lane,
        is_drawn=drawn.get(seat) == team,
    )


def side(at_hand: RoundAtHand, standing: RoundStanding, one: Standing) -> MoveSide:
    """Where a team stands on one side of a change."""
    return MoveSide(
        place=one.place,
        is_disqualified=one.is_disqualified,
        letter=letter_of(at_hand, standing, TeamId(one.team)),
        points=show_points(one.points),
        seat=seat_out(at_hand, one.seat, one.team),
        overall=one.overall,
    )


def _lines(at_hand: RoundAtHand, teams: Iterable[str]) -> list[TeamLine]:
    return [TeamLine(team=TeamId(team), name=at_hand.names[team]) for team in teams]

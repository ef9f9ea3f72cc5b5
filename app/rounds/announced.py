"""What everybody may know of rounds: what was announced, and the scores that follow from it."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from sqlalchemy import Connection

from app.ids import EventId, HeatId, MeetId, TeamId
from app.rounds.queries import scoring_rounds
from app.rounds.standing import RoundAtHand, round_at_hand, rounds_as_announced
from app.rounds.wire import ScoreOut, ScorePart, ScoresOut, show_points
from app.rules.points import team_scores

NOBODY: frozenset[HeatId] = frozenset()
Earned = tuple[str, Fraction, ScorePart]


def as_announced(
    conn: Connection, meet_id: MeetId, event_id: EventId, round_key: str
) -> RoundAtHand:
    """A round by its announcements alone, and what of decisions and lots they have told."""
    return round_at_hand(
        conn, meet_id, event_id, round_key, announced_beside=NOBODY, only_told=True
    )


def scores_out(conn: Connection, meet_id: MeetId) -> ScoresOut:
    """Team scores by affiliation over all rounds that score and are announced in full.

    A team without an affiliation scores for itself. Of a round that is awaited nothing else is
    read.
    """
    scoring = scoring_rounds(conn, meet_id)
    read = rounds_as_announced(conn, meet_id, [one.id for one in scoring if one.is_announced])
    told = {one: at_hand for one, at_hand in read.items() if _is_told(at_hand)}
    earned = [one for at_hand in told.values() for one in _earned(at_hand)]
    parts: dict[str, list[ScorePart]] = {}
    for whose, _points, part in earned:
        parts.setdefault(whose, []).append(part)
    return ScoresOut(
        scores=[
            ScoreOut(
                place=score.place,
                affiliation=score.affiliation,
                points=show_points(score.points),
                made_of=parts[score.affiliation],
            )
            for score in team_scores((whose, points) for whose, points, _part in earned)
        ],
        awaited=[f"{one.event_name}, {one.round}" for one in scoring if one.id not in told],
    )


def _is_told(at_hand: RoundAtHand) -> bool:
    """Whether all of a round is announced, and no team stands in two of its heats."""
    teams = [one.team for heat in at_hand.round.heats for one in heat.ran]
    return all(heat.is_in for heat in at_hand.round.heats) and len(set(teams)) == len(teams)


def _earned(at_hand: RoundAtHand) -> Iterator[Earned]:
    """What each team of a round brought in, the most first."""
    scoring = [one for one in at_hand.stand().teams.values() if one.points and one.heat]
    for one in sorted(scoring, key=lambda one: (-one.points, at_hand.names[one.team])):
        team = TeamId(one.team)
        part = ScorePart(
            event_name=at_hand.event_name,
            round=at_hand.round_name,
            heat_number=at_hand.heat_numbers[one.heat],
            team=team,
            name=at_hand.names[team],
            place=one.place,
            overall=one.overall,
            points=show_points(one.points),
        )
        yield at_hand.affiliations[team] or part.name, one.points, part

"""What do places earn a team's affiliation?

Teams that tie share the points of the places that they take up, equally: two third places of
6 and 5 points get 5½ each (common practice of team matches; the rule books that were read leave it
to the meet). Fractions stay exact, so that nothing is lost in a sum.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

NOTHING = Fraction(0)


@dataclass(frozen=True, slots=True)
class Score:
    """What an affiliation has gathered; equal totals share a place (1, 2, 2, 4)."""

    place: int
    affiliation: str
    points: Fraction


def shared_points(points: Sequence[Fraction], places: Mapping[str, int]) -> Mapping[str, Fraction]:
    """What each team earns; `points` are those of place 1, 2, …, places beyond them earn nothing.

    `places` name the places as they are shared: two teams at 2 take up 2 and 3.
    """
    sharing = Counter(places.values())
    each = {
        place: sum(points[place - 1 : place - 1 + teams], NOTHING) / teams
        for place, teams in sharing.items()
    }
    return {team: each[place] for team, place in places.items()}


def team_scores(earned: Iterable[tuple[str, Fraction]]) -> tuple[Score, ...]:
    """Add up what was earned, as (affiliation, points): best first, then by name."""
    totals: dict[str, Fraction] = {}
    for affiliation, points in earned:
        totals[affiliation] = totals.get(affiliation, NOTHING) + points
    best_first = sorted(totals.items(), key=lambda total: (-total[1], total[0]))
    return tuple(
        Score(1 + sum(1 for other in totals.values() if other > points), affiliation, points)
        for affiliation, points in best_first
    )

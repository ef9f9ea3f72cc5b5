"""Points: ties share, sums are exact.

That teams which tie share the points of the places they take up, that places beyond those that
score and disqualified teams earn nothing, and that equal totals share a place, is common practice
of team matches; the rule books that were read leave it to the meet.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import zip_longest
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

from app.rules.points import Score, shared_points, team_scores
from app.rules.qualifying import Advancement, HeatRun, Letter, Ran, ReRun, Round, stand
from tests.rules.round_strategies import a_heat, ran, rounds

POINTS = tuple(Fraction(points) for points in (8, 6, 5, 4, 3, 2, 1))


def test_two_who_tie_share_the_points_of_the_places_they_take_up() -> None:
    places = {"Tern": 1, "Gull": 2, "Heron": 2, "Crane": 4}
    assert shared_points(POINTS, places) == {
        "Tern": 8,
        "Gull": Fraction(11, 2),
        "Heron": Fraction(11, 2),
        "Crane": 4,
    }


def test_three_who_tie_share_to_the_third() -> None:
    places = dict.fromkeys(("Tern", "Gull", "Heron"), 2)
    assert set(shared_points(POINTS[:3], places).values()) == {Fraction(11, 3)}


def test_places_beyond_those_that_score_earn_nothing() -> None:
    assert shared_points(POINTS[:2], {"Tern": 2, "Gull": 2, "Heron": 4}) == {
        "Tern": 3,
        "Gull": 3,
        "Heron": 0,
    }


def test_a_final_scores_by_its_places_and_a_disqualified_team_scores_nothing() -> None:
    final = a_heat("final", {"Tern": 40000, "Gull": 41000, "Heron": 42000, "Crane": None}, "Gull")
    teams = stand(Round((final,), points=POINTS)).teams
    assert {team: one.points for team, one in teams.items()} == {
        "Tern": 8,
        "Gull": 0,
        "Heron": 6,
        "Crane": 0,
    }


def test_a_final_that_the_judges_placed_scores_without_times() -> None:
    final = HeatRun("final", (ran("Tern", 1, None, 2), ran("Gull", 2, None, 1)))
    assert stand(Round((final,), points=POINTS)).teams["Gull"].points == 8


def test_a_final_in_two_heats_scores_by_time_once_both_are_in() -> None:
    # timed finals: common practice
    first = a_heat("1", {"Tern": 40000, "Gull": 41000})
    second = a_heat("2", {"Heron": 40500, "Crane": 41000})
    teams = stand(Round((first, second), points=POINTS)).teams
    assert {team: one.points for team, one in teams.items()} == {
        "Tern": 8,
        "Heron": 6,
        "Gull": Fraction(9, 2),
        "Crane": Fraction(9, 2),
    }
    overall = {"Tern": 1, "Heron": 2, "Gull": 3, "Crane": 3}
    assert {team: one.overall for team, one in teams.items()} == overall
    half = stand(Round((first, HeatRun("2", is_in=False)), points=POINTS)).teams
    assert (half["Tern"].points, half["Tern"].overall) == (0, None)


def test_who_runs_again_after_a_timed_final_is_placed_over_all_heats_by_the_new_time() -> None:
    # timed finals: common practice
    first = a_heat("1", {"Tern": 40000, "Gull": 41000})
    second = a_heat("2", {"Heron": 40500, "Crane": 41500})
    again = ReRun("again", ("Crane",), Letter.BY_REFEREE, (ran("Crane", 2, 40400),))
    teams = stand(Round((first, second), re_runs=(again,), points=POINTS)).teams
    assert (teams["Crane"].place, teams["Crane"].overall, teams["Crane"].points) == (2, 2, 6)
    assert (teams["Heron"].place, teams["Heron"].overall, teams["Heron"].points) == (1, 3, 5)


def test_where_teams_go_on_and_nothing_is_scored_there_are_no_places_over_all_heats() -> None:
    heats = (a_heat("1", {"Tern": 40000}), a_heat("2", {"Heron": 40500}))
    goes_on, scored = (
        Round(heats, Advancement(1, 0, 2)),
        Round(heats, Advancement(1, 0, 2), points=POINTS),
    )
    assert {one.overall for one in stand(goes_on).teams.values()} == {None}
    assert {one.overall for one in stand(scored).teams.values()} == {1, 2}


@given(rounds())
@settings(max_examples=300, deadline=None)
def test_points_follow_exactly_the_places_that_are_told(round_: Round) -> None:
    teams = stand(round_).teams
    one_heat = len(round_.heats) == 1
    told = {team: one.place if one_heat else one.overall for team, one in teams.items()}
    places = {team: place for team, place in told.items() if place is not None}
    earned = {team: one.points for team, one in teams.items() if one.points}
    if not all(heat.is_in for heat in round_.heats):
        assert earned == {}
        return
    due = {team: _share(round_.points, places, team) for team in places}
    assert earned == {team: points for team, points in due.items() if points}
    assert not one_heat or {one.overall for one in teams.values()} <= {None}


def _share(points: Sequence[Fraction], places: Mapping[str, int], team: str) -> Fraction:
    """By hand: the teams stand in one row by place, a step of points for each, and those of one
    place pool their steps (common practice of team matches).
    """
    steps = zip_longest(sorted(places.values()), points, fillvalue=None)
    pool = [step or Fraction(0) for place, step in steps if place == places[team]]
    return sum(pool, Fraction(0)) / len(pool)


def test_affiliations_with_equal_totals_share_a_place() -> None:
    earned = [
        ("Marsh", Fraction(11, 2)),
        ("Shore", Fraction(8)),
        ("Moor", Fraction(5)),
        ("Marsh", Fraction(5, 2)),
        ("Moor", Fraction(0)),
    ]
    assert team_scores(earned) == (
        Score(1, "Marsh", Fraction(8)),
        Score(1, "Shore", Fraction(8)),
        Score(3, "Moor", Fraction(5)),
    )
    assert team_scores([]) == ()


@given(st.lists(st.integers(38000, 38005), min_size=1, max_size=7))
@settings(max_examples=200, deadline=None)
def test_ties_neither_make_points_nor_lose_any(times: list[int]) -> None:
    final = a_heat("final", {f"team {at}": time for at, time in enumerate(times)})
    earned = [one.points for one in stand(Round((final,), points=POINTS)).teams.values()]
    assert sum(earned) == sum(POINTS[: len(times)])


@pytest.mark.slow
def test_shared_points_agree_with_a_ranking_made_elsewhere() -> None:
    # SciPy, scipy.stats.rankdata with method "average", on 3,000 heats of eight: where each place
    # earns one point less than the one before, a share is 9 less the average rank
    random = Random(2026)
    points = tuple(Fraction(9 - place) for place in range(1, 9))
    for _ in range(3000):
        times = [random.randint(38000, 38012) for _ in range(8)]
        lines = tuple(
            Ran(f"team {lane}", ran("", lane, time).finish) for lane, time in enumerate(times, 1)
        )
        teams = stand(Round((HeatRun("final", lines),), points=points)).teams
        earned = [float(teams[line.team].points) for line in lines]
        assert earned == (9 - rankdata(times, method="average")).tolist()

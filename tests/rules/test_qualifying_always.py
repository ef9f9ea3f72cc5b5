"""Who goes on, whatever the round: by property, and against a ranking made elsewhere."""

from collections.abc import Iterable
from dataclasses import replace
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

from app.rules.orders import Disqualify, apply
from app.rules.qualifying import (
    Advancement,
    Disqualified,
    Letter,
    Ran,
    Round,
    RoundStanding,
    stand,
)
from tests.rules.round_strategies import a_heat, rounds

OWN = {Letter.BY_PLACE, Letter.BY_TIME, Letter.BY_DRAW}


def _is_settled(standing: RoundStanding) -> bool:
    return standing.is_complete and standing.open_draw is None


def _own(standing: RoundStanding) -> set[str]:
    """Who goes on by what it ran itself."""
    return {team for team, one in standing.teams.items() if one.letter in OWN}


@given(rounds(all_run=True))
@settings(max_examples=200, deadline=None)
def test_never_fewer_go_on_than_was_promised_while_enough_are_eligible(round_: Round) -> None:
    standing = stand(round_)
    advancement = round_.advancement
    assume(advancement is not None and _is_settled(standing))
    assert advancement is not None
    finished = {
        run.team for heat in round_.heats for run in heat.ran if run.finish.thousandths is not None
    } - {team for team, one in standing.teams.items() if one.is_disqualified}
    for re_run in round_.re_runs:  # without a time to beat it stands in place of the first run
        if re_run.ran and not re_run.time_to_beat and not re_run.added_places:
            finished -= set(re_run.teams)
    promised = advancement.promised(len(round_.heats))
    assert len(standing.qualified) >= min(promised, len(finished))


@given(rounds())
@settings(max_examples=200, deadline=None)
def test_never_more_go_on_than_there_are_lanes_and_places_added(round_: Round) -> None:
    standing = stand(round_)
    if round_.advancement is None:
        assert standing.qualified == ()
        return
    added = sum(re_run.added_places for re_run in round_.re_runs)
    most = round_.advancement.lanes + len(round_.advanced) + added
    assert len(standing.qualified) <= most
    on_top = len(standing.qualified) - len(_own(standing))
    assert on_top <= len(round_.advanced) + added


@given(rounds())
@settings(max_examples=200, deadline=None)
def test_no_team_has_two_lanes_and_no_lane_two_teams(round_: Round) -> None:
    standing = stand(round_)
    seats = [one.seat for one in standing.teams.values() if one.seat is not None]
    assert len(seats) == len(set(seats))
    assert set(seats) <= {*round_.seats, *round_.free_seats}
    without = [team for team in standing.qualified if standing.teams[team].seat is None]
    is_drawn = bool(round_.seats or round_.free_seats)
    assert list(standing.unseated) == (without if is_drawn else [])


@given(rounds())
@settings(max_examples=150, deadline=None)
def test_whoever_has_a_lane_and_still_goes_on_keeps_it(round_: Round) -> None:
    standing = stand(round_)
    for seat, team in round_.seats.items():
        one = standing.teams[team]
        assert one.seat == seat or one.letter is None


@given(rounds())
@settings(max_examples=150, deadline=None)
def test_in_a_heat_that_has_begun_no_lane_changes_hands(round_: Round) -> None:
    standing = stand(round_)
    drawn = {team: seat for seat, team in round_.seats.items() if seat.heat in round_.settled}
    there = {
        team: one.seat
        for team, one in standing.teams.items()
        if one.seat is not None and one.seat.heat in round_.settled
    }
    assert there == drawn


@given(rounds())
@settings(max_examples=150, deadline=None)
def test_no_letter_goes_to_a_disqualified_team_nor_one_by_time_before_the_round_is_complete(
    round_: Round,
) -> None:
    standing = stand(round_)
    for one in standing.teams.values():
        assert one.letter is None or not one.is_disqualified
        assert one.letter is not Letter.BY_TIME or standing.is_complete
        assert not (one.is_open and (one.letter or one.is_disqualified))


@given(rounds())
@settings(max_examples=150, deadline=None)
def test_qualifiers_stand_in_the_order_of_their_letters(round_: Round) -> None:
    standing = stand(round_)
    letters = [str(standing.teams[team].letter) for team in standing.qualified]
    assert letters == sorted(letters, key=["Q", "q", "qD", "qR", "qJ"].index)
    places = [
        standing.teams[team].place or 0
        for team in standing.qualified
        if standing.teams[team].letter is Letter.BY_PLACE
    ]
    assert places == sorted(places)


@given(rounds(), st.randoms(use_true_random=False))
@settings(max_examples=150, deadline=None)
def test_the_order_in_which_the_heats_are_told_does_not_matter(
    round_: Round, random: Random
) -> None:
    shuffled = list(round_.heats)
    random.shuffle(shuffled)
    one, other = stand(round_), stand(replace(round_, heats=tuple(shuffled)))
    assert one == other
    assert one.qualified == other.qualified


def _places_elsewhere(standing: RoundStanding, heat: str) -> dict[str, int | None]:
    return {team: one.place for team, one in standing.teams.items() if one.heat != heat}


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_a_disqualification_changes_no_place_in_another_heat(data: st.DataObject) -> None:
    round_ = data.draw(rounds())
    lines = [(heat.heat, run.team) for heat in round_.heats for run in heat.ran]
    assume(lines)
    heat, team = data.draw(st.sampled_from(lines))
    after = apply(round_, [Disqualify(heat, Disqualified(team, "ruling 9"))])
    assert stand(after).teams[team].place is None
    before = _places_elsewhere(stand(round_), heat)
    assert _places_elsewhere(stand(after), heat) == before


def _faster(ran_: Iterable[Ran], team: str, by: int) -> tuple[Ran, ...]:
    return tuple(
        Ran(team, replace(one.finish, thousandths=(one.finish.thousandths or 0) - by))
        if one.team == team
        else one
        for one in ran_
    )


@given(st.data())
@settings(max_examples=250, deadline=None)
def test_a_faster_time_never_costs_a_team_its_qualification(data: st.DataObject) -> None:
    round_ = data.draw(rounds(all_run=True))
    before = stand(round_)
    assume(_is_settled(before))
    able = [
        (run, line.team)
        for run in (*round_.heats, *round_.re_runs)
        for line in run.ran
        if line.finish.thousandths is not None and before.teams[line.team].letter in OWN
    ]
    assume(able)
    run, team = data.draw(st.sampled_from(able))
    finer = 10 if any(one.finish.decimals == 2 for one in run.ran if one.team == team) else 1
    quicker = replace(run, ran=_faster(run.ran, team, finer * data.draw(st.integers(1, 15))))
    after = stand(
        replace(
            round_,
            heats=tuple(quicker if one == run else one for one in round_.heats),
            re_runs=tuple(quicker if one == run else one for one in round_.re_runs),
        )
    )
    assert after.open_draw is not None or after.teams[team].letter is not None


def _a_close_round(random: Random) -> Round:
    """Three heats of eight, all times within 60 thousandths."""
    times = [[random.randint(38000, 38060) for _ in range(8)] for _ in range(3)]
    heats = (
        a_heat(f"{at}", {f"{at}-{lane}": time for lane, time in enumerate(some)})
        for at, some in enumerate(times)
    )
    return Round(tuple(heats), Advancement(2, 2, 24))


@pytest.mark.slow
def test_places_and_qualifiers_agree_with_a_ranking_made_elsewhere() -> None:
    # SciPy, scipy.stats.rankdata with method "min": 6,000 heats in 2,000 rounds. Times to 0.001 s
    # rank as they are, since thousandths never turn the order of hundredths rounded up.
    random = Random(2026)
    for _ in range(2000):
        round_ = _a_close_round(random)
        standing = stand(round_)
        times: dict[str, int] = {}
        for heat in round_.heats:
            own = [run.finish.thousandths or 0 for run in heat.ran]
            times.update(zip((run.team for run in heat.ran), own, strict=True))
            places = [standing.teams[run.team].place for run in heat.ran]
            assert places == rankdata(own, method="min").tolist()
        through = {team for team, one in standing.teams.items() if (one.place or 9) <= 2}
        left = [team for team in times if team not in through]
        ranks = rankdata([times[team] for team in left], method="min")
        fast = {team for team, rank in zip(left, ranks, strict=True) if rank <= 8 - len(through)}
        assert _with(standing, Letter.BY_PLACE) == through
        assert _with(standing, Letter.BY_TIME) == fast


def _with(standing: RoundStanding, letter: Letter) -> set[str]:
    return {team for team, one in standing.teams.items() if one.letter is letter}

"""Places in a heat, checked against a championship and a count by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.placing import (
    Contradiction,
    Finish,
    FinishStatus,
    order_contradicts_times,
    place_heat,
)

FINISHED = FinishStatus.FINISHED


def _timed(lane: int, thousandths: int, decided: int | None = None) -> Finish:
    return Finish(lane, FINISHED, thousandths, decided)


def _places(finishes: list[Finish], *disqualified: int) -> dict[int, int | None]:
    return {placed.lane: placed.place for placed in place_heat(finishes, frozenset(disqualified))}


def test_those_behind_a_disqualified_team_move_up() -> None:
    # Rio 2016, men's 4x100 m final (press accounts): third across the line was disqualified and
    # the fourth placed third; times in thousandths from memory, to the hundredth
    finishes = [_timed(4, 37270), _timed(5, 37600), _timed(3, 37620), _timed(7, 37640)]
    assert _places(finishes, 3) == {3: None, 4: 1, 5: 2, 7: 3}
    assert _places(finishes) == {3: 3, 4: 1, 5: 2, 7: 4}


def test_equal_times_share_a_place_and_the_next_one_is_left_out() -> None:
    # IAAF Rule 167.1 (2010-11)
    finishes = [_timed(1, 40000), _timed(2, 41000), _timed(3, 41000), _timed(4, 42000)]
    assert _places(finishes) == {1: 1, 2: 2, 3: 2, 4: 4}


def test_the_photo_finish_parts_equal_times() -> None:
    # IAAF Rule 167.1 (2010-11)
    finishes = [_timed(1, 40000, 1), _timed(2, 41000, 3), _timed(3, 41000, 2), _timed(4, 42000, 4)]
    assert _places(finishes) == {1: 1, 2: 3, 3: 2, 4: 4}


def test_a_tie_that_is_only_half_decided_stays_a_tie() -> None:
    finishes = [_timed(1, 41000, 1), _timed(2, 41000, 2), _timed(3, 41000)]
    assert _places(finishes) == {1: 1, 2: 1, 3: 1}


def test_a_team_without_a_finish_takes_no_place() -> None:
    finishes = [
        _timed(5, 41000),
        Finish(6, FinishStatus.DID_NOT_FINISH),
        Finish(7, FinishStatus.DID_NOT_START),
    ]
    assert _places(finishes) == {5: 1, 6: None, 7: None}


def test_the_judges_order_ranks_a_heat_in_which_a_watch_failed() -> None:
    finishes = [_timed(1, 41000, 1), Finish(2, FINISHED, None, 2), _timed(3, 42000, 3)]
    assert _places(finishes) == {1: 1, 2: 2, 3: 3}
    assert _places(finishes, 1) == {1: None, 2: 1, 3: 2}


def test_a_missing_time_without_the_judges_order_is_refused() -> None:
    finishes = [_timed(1, 41000), Finish(2, FINISHED, None, 2)]
    with pytest.raises(ValueError, match=r"Lane 2 finished without a time.*lane 1 has none"):
        place_heat(finishes)


def test_a_decided_place_ahead_of_a_faster_team_is_a_contradiction() -> None:
    finishes = [_timed(1, 41000, 2), _timed(2, 41500, 1), _timed(3, 41500, 3)]
    assert order_contradicts_times(finishes) == [Contradiction(lane=2, ahead_of_lane=1)]


def test_parting_equal_times_contradicts_nothing() -> None:
    assert order_contradicts_times([_timed(1, 41000, 2), _timed(2, 41000, 1)]) == []
    assert order_contradicts_times([_timed(1, 41000), _timed(2, 40000, 1)]) == []


def test_a_team_without_a_time_contradicts_nobody() -> None:
    assert order_contradicts_times([_timed(1, 41000, 2), Finish(2, FINISHED, None, 1)]) == []


@pytest.mark.parametrize(
    ("facts", "sentence"),
    [
        ((0, FINISHED, 41000), "lanes count from 1"),
        ((1, FINISHED, 0), "more than nothing"),
        ((1, FINISHED, 41000, 0), "places count from 1"),
        ((1, FINISHED), "neither a time nor a place"),
        ((1, FinishStatus.DID_NOT_START, 41000), "takes neither"),
        ((1, FinishStatus.DID_NOT_FINISH, None, 3), "takes neither"),
    ],
)
def test_a_finish_that_cannot_be_is_refused(facts: tuple[int, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Finish(*facts)  # type: ignore[arg-type]


def test_a_lane_that_stands_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="Lane 4 stands twice"):
        place_heat([_timed(4, 41000), _timed(4, 42000)])


@st.composite
def _heats(draw: st.DrawFn) -> tuple[list[Finish], frozenset[int]]:
    lanes = draw(st.lists(st.integers(1, 10), unique=True, max_size=10))
    finishes = []
    for lane in lanes:
        status = draw(st.sampled_from(FinishStatus))
        time = draw(st.integers(38000, 38006)) if status is FINISHED else None
        finishes.append(Finish(lane, status, time))
    return finishes, frozenset(draw(st.sets(st.integers(1, 10), max_size=3)))


@given(_heats())
@settings(max_examples=150, deadline=None)
def test_a_place_is_one_more_than_the_number_of_faster_teams(
    heat: tuple[list[Finish], frozenset[int]],
) -> None:
    finishes, disqualified = heat
    counted = {
        finish.lane: finish.thousandths
        for finish in finishes
        if finish.thousandths is not None and finish.lane not in disqualified
    }
    for placed in place_heat(finishes, disqualified):
        own = counted.get(placed.lane)
        faster = sum(1 for time in counted.values() if own is not None and time < own)
        assert placed.place == (None if own is None else faster + 1)


@given(_heats(), st.integers(1, 10))
@settings(max_examples=100, deadline=None)
def test_a_disqualification_never_moves_anybody_down(
    heat: tuple[list[Finish], frozenset[int]], lane: int
) -> None:
    finishes, disqualified = heat
    before = {placed.lane: placed.place for placed in place_heat(finishes, disqualified)}
    for placed in place_heat(finishes, disqualified | {lane}):
        earlier = before[placed.lane]
        if placed.place is not None:
            assert earlier is not None
            assert placed.place <= earlier

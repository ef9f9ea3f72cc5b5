"""Places in a heat, checked against a championship and a count by hand."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.placing import (
    Contradiction,
    Finish,
    FinishStatus,
    OpenTie,
    open_ties,
    order_contradicts_times,
    place_heat,
)

FINISHED = FinishStatus.FINISHED


def _timed(lane: int, thousandths: int, decided: int | None = None) -> Finish:
    return Finish(lane, FINISHED, thousandths, decided)


def _to_hundredths(lane: int, thousandths: int, decided: int | None = None) -> Finish:
    return Finish(lane, FINISHED, thousandths, decided, decimals=2)


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


def test_thousandths_rank_where_every_team_with_the_same_hundredth_has_them() -> None:
    assert _places([_timed(1, 41347), _timed(2, 41342), _to_hundredths(3, 41360)]) == {
        1: 2,
        2: 1,
        3: 3,
    }


def test_the_photo_finish_places_a_time_to_the_hundredth_ahead_of_one_to_the_thousandth() -> None:
    # 42.345 rounds up to 42.35: World Athletics TR19, from memory
    assert _places([_to_hundredths(3, 42350, 1), _timed(4, 42345, 2)]) == {3: 1, 4: 2}
    assert _places([_to_hundredths(3, 42350, 2), _timed(4, 42345, 1)]) == {3: 2, 4: 1}


def test_times_given_unlike_that_are_one_hundredth_tie_until_they_are_parted() -> None:
    finishes = [_to_hundredths(3, 42350), _timed(4, 42345), _timed(5, 42341), _timed(6, 42351)]
    assert _places(finishes) == {3: 1, 4: 1, 5: 1, 6: 4}
    assert open_ties(finishes) == [OpenTie((3, 4, 5), places_missing=False)]
    assert _places(finishes, 3) == {3: None, 4: 2, 5: 1, 6: 3}


def test_a_contradiction_is_seen_past_a_team_that_ties_with_both() -> None:
    finishes = [_timed(1, 42348, 1), _to_hundredths(2, 42350, 2), _timed(3, 42344, 3)]
    assert order_contradicts_times(finishes) == [Contradiction(lane=1, ahead_of_lane=3)]


def test_one_place_for_two_times_is_a_contradiction() -> None:
    finishes = [_timed(1, 42348, 1), _timed(2, 42344, 1)]
    assert order_contradicts_times(finishes) == [Contradiction(lane=1, ahead_of_lane=2)]
    assert order_contradicts_times([_timed(1, 42348, 1), _to_hundredths(2, 42350, 1)]) == []


def test_a_tie_with_places_for_some_is_open() -> None:
    finishes = [_timed(1, 41000, 1), _timed(2, 41000), _timed(3, 42000), _timed(4, 42000)]
    assert open_ties(finishes) == [OpenTie((1, 2), places_missing=True)]


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
        ((1, FINISHED, 41000, 1, 1), "2 or 3 decimals"),
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


@st.composite
def _finish_lists(draw: st.DrawFn) -> list[Finish]:
    """Close finishes to 0.01 s and to 0.001 s, with and without places."""
    lanes = draw(st.lists(st.integers(1, 10), unique=True, min_size=2, max_size=5))
    finishes = []
    for lane in lanes:
        decimals = draw(st.sampled_from([2, 3]))
        time = draw(st.integers(38000, 38025)) // 10 ** (3 - decimals) * 10 ** (3 - decimals)
        place = draw(st.none() | st.integers(1, 4))
        finishes.append(Finish(lane, FINISHED, time, place, decimals))
    return finishes


@given(_finish_lists())
@settings(max_examples=300, deadline=None)
def test_places_never_go_against_what_was_decided_unless_it_is_called_a_contradiction(
    finishes: list[Finish],
) -> None:
    if order_contradicts_times(finishes) or open_ties(finishes):
        return
    places = _places(finishes)
    for one in finishes:
        for other in finishes:
            if one.decided_place and other.decided_place:
                assert (one.decided_place < other.decided_place) == (
                    (places[one.lane] or 0) < (places[other.lane] or 0)
                )


@given(_finish_lists())
@settings(max_examples=300, deadline=None)
def test_a_team_that_is_surely_faster_is_never_placed_behind(finishes: list[Finish]) -> None:
    places = _places(finishes) if not order_contradicts_times(finishes) else {}
    for one in finishes:
        for other in finishes:
            longest = -(-(one.thousandths or 0) // 10) * 10
            if places and longest < (other.thousandths or 0):
                assert (places[one.lane] or 0) < (places[other.lane] or 0)

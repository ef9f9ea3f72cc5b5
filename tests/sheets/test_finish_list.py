"""A finish list gives each lane's time, status and place, or says what is wrong with it."""

from __future__ import annotations

from datetime import timedelta

import openpyxl  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.rules.placing import FinishStatus, place_heat
from app.sheets.finish_list import FinishRow, read_finish_list
from app.sheets.problems import Problem
from tests.sheets.builders import Value, as_csv, as_xlsx, save

FINISHED = FinishStatus.FINISHED


def a_finish(lane: Value = 4, time: Value = "42.35", **more: Value) -> dict[str, Value]:
    return {"lane": lane, "time": time} | more


def read(*rows: dict[str, Value]) -> tuple[tuple[FinishRow, ...], tuple[Problem, ...]]:
    return read_finish_list(as_csv(rows))


def good(*rows: dict[str, Value]) -> tuple[FinishRow, ...]:
    found, problems = read(*rows)
    assert problems == ()
    return found


def places(*rows: dict[str, Value]) -> list[tuple[int | None, str | None]]:
    return [(problem.row, problem.column) for problem in read(*rows)[1]]


def test_hundredths_and_thousandths_are_kept_apart() -> None:
    first, second = good(a_finish(4, "42.35"), a_finish(5, "3:02.123"))
    assert first == FinishRow(2, 4, FINISHED, 42_350, 2, None)
    assert second == FinishRow(3, 5, FINISHED, 182_123, 3, None)


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
def test_a_decimal_comma_is_read_under_every_delimiter(delimiter: str) -> None:
    rows = [a_finish(4, "42,35"), a_finish(5, "3:02,12")]
    found, problems = read_finish_list(as_csv(rows, delimiter=delimiter))
    assert problems == ()
    assert [row.thousandths for row in found] == [42_350, 182_120]


def test_a_zero_that_the_spreadsheet_dropped_is_no_tenth() -> None:
    found, problems = read_finish_list(as_xlsx([a_finish(4, 42.3)]))
    assert problems == ()
    assert (found[0].thousandths, found[0].decimals) == (42_300, 2)


@pytest.mark.parametrize(
    ("row", "status"),
    [
        (a_finish(4, "DNS"), "DNS"),
        (a_finish(4, "dnf"), "DNF"),
        (a_finish(4, "", status="Dns"), "DNS"),
        (a_finish(4, "-", status="DNF"), "DNF"),
        (a_finish(4, "DNF", status="DNF"), "DNF"),
    ],
)
def test_dns_and_dnf_are_read_from_either_column(row: dict[str, Value], status: str) -> None:
    assert good(row) == (FinishRow(2, 4, FinishStatus(status), None, 2, None),)


def test_equal_times_without_places_are_a_tie() -> None:
    # IAAF Rule 167.1 (2010-11): a tie for a place stays a tie if the picture cannot part it.
    found = good(a_finish(4, "42.35"), a_finish(5, "42.35"))
    assert [row.place for row in found] == [None, None]


def test_equal_times_may_be_parted_or_tied_by_places() -> None:
    assert len(good(a_finish(4, "42.35", place=2), a_finish(5, "42.35", place=1))) == 2
    assert len(good(a_finish(4, "42.35", place=1), a_finish(5, "42.35", place=1))) == 2


def test_a_place_without_a_time_is_hand_placing() -> None:
    found = good(a_finish(4, "", place=1), a_finish(5, "42.90", place=2), a_finish(6, "DNF"))
    assert [(row.thousandths, row.place) for row in found] == [(None, 1), (42_900, 2), (None, None)]


def test_a_picture_time_that_rounds_up_to_the_other_is_no_contradiction() -> None:
    # A photo-finish time is rounded up to the next 0.01 s: World Athletics TR19, from memory.
    assert len(good(a_finish(4, "42.35", place=1), a_finish(5, "42.348", place=2))) == 2


@pytest.mark.parametrize("word", ["DQ", "dsq", "DISQ", "DQ TR24.7"])
@pytest.mark.parametrize("column", ["time", "status"])
def test_a_disqualification_is_refused_with_the_way_out(word: str, column: str) -> None:
    row = a_finish(4, "42.35", status="") | {column: word}
    (problem,) = read(a_finish(3), row | {"lane": 4})[1]
    assert (problem.row, problem.column) == (3, column)
    assert "comes from a ruling" in problem.problem
    assert "DNF" in problem.problem


@pytest.mark.parametrize(
    ("row", "column", "part_of_reason"),
    [
        (a_finish(0), "lane", "runs from 1 to 10"),
        (a_finish(11), "lane", "runs from 1 to 10"),
        (a_finish(""), "lane", "The lane is empty"),
        (a_finish(4, ""), "time", "neither a time nor a place"),
        (a_finish(4, "-"), "time", "neither a time nor a place"),
        (a_finish(4, "-42.35"), "time", "is no time"),
        (a_finish(4, "NaN"), "time", "is not known here"),
        (a_finish(4, "3:61.00"), "time", "00 to 59"),
        (a_finish(4, "9:59:59.00"), "time", "no time that a relay team runs"),
        (a_finish(4, "42.3512"), "time", "three decimals"),
        (a_finish(4, "43"), "time", "no decimals"),
        (a_finish(4, "=42+1"), "time", "formula"),
        (a_finish(4, "42.35", status="DNS"), "time", "still has a time"),
        (a_finish(4, "", status="DNF", place=3), "place", "still has a place"),
        (a_finish(4, "DNF", status="DNS"), "status", "different things"),
        (a_finish(4, "DNF", status="finished"), "status", "different things"),
        (a_finish(4, "42.35", status="late"), "status", "is not known here"),
        (a_finish(4, "42.35", place=0), "place", "runs from 1 to 10"),
        (a_finish(4, "42.35", place=11), "place", "runs from 1 to 10"),
        (a_finish(4, "42.35", place="third"), "place", "no whole number"),
    ],
)
def test_a_bad_row_is_named_by_row_and_column(
    row: dict[str, Value], column: str, part_of_reason: str
) -> None:
    (problem,) = read(a_finish(3, "40.00"), row)[1]
    assert (problem.row, problem.column) == (3, column)
    assert part_of_reason in problem.problem


def test_a_lane_twice_is_named() -> None:
    assert places(a_finish(4), a_finish(5), a_finish(4, "43.00")) == [(4, "lane")]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (a_finish(4, "42.35", place=1), a_finish(5, "42.34", place=2)),
        (a_finish(4, "42.350", place=1), a_finish(5, "42.349", place=2)),
        (a_finish(4, "42.34", place=1), a_finish(5, "42.35", place=1)),
    ],
)
def test_places_that_contradict_the_times_are_named(
    first: dict[str, Value], second: dict[str, Value]
) -> None:
    assert places(first, second) == [(3, "place")]
    assert len(places(second, first)) == 1


def test_a_contradiction_past_a_team_that_ties_with_both_is_named() -> None:
    rows = [a_finish(1, "42.348", place=1), a_finish(2, "42.35", place=2)]
    (problem,) = read(*rows, a_finish(3, "42.344", place=3))[1]
    assert (problem.row, problem.column) == (4, "place")
    assert "lane 1 in row 2" in problem.problem


def test_a_row_with_many_contradictions_is_told_once() -> None:
    rows = [a_finish(lane, f"42.{lane}0", place=9 - lane) for lane in range(1, 9)]
    assert places(*rows) == [(row, "place") for row in range(3, 10)]


def test_times_given_unlike_that_are_one_hundredth_need_places() -> None:
    # common practice; 42.345 rounds up to 42.35: World Athletics TR19, from memory
    (problem,) = read(a_finish(3, "42.345"), a_finish(4, "42.35"))[1]
    assert (problem.row, problem.column) == (3, "time")
    assert "lane 3 in row 2" in problem.problem
    assert "give every team with this time its place" in problem.problem
    good(a_finish(3, "42.345", place=2), a_finish(4, "42.35", place=1))
    good(a_finish(3, "42.345"), a_finish(4, "42.36"))


def test_a_tie_with_a_place_for_one_team_only_is_named() -> None:
    assert places(a_finish(3, "42.35", place=1), a_finish(4, "42.35")) == [(3, "place")]


@st.composite
def close_finishes(draw: st.DrawFn) -> list[dict[str, Value]]:
    """Teams within two hundredths, given to 0.01 s or 0.001 s, with and without places."""
    rows = []
    for lane in draw(st.lists(st.integers(1, 10), unique=True, min_size=2, max_size=5)):
        time = draw(st.integers(0, 25))
        text = draw(st.sampled_from([f"42.{time:03}", f"42.{time // 10:02}"]))
        rows.append(a_finish(lane, text, place=draw(st.sampled_from(["", 1, 2, 3]))))
    return rows


@given(close_finishes())
@settings(max_examples=300, deadline=None)
def test_a_list_that_is_taken_is_placed_as_its_own_places_say(rows: list[dict[str, Value]]) -> None:
    found, problems = read(*rows)
    if problems:
        return
    placed = {one.lane: one.place or 0 for one in place_heat(row.as_finish() for row in found)}
    for one in found:
        for other in found:
            if one.place and other.place:
                assert (one.place < other.place) == (placed[one.lane] < placed[other.lane])


def test_a_time_and_a_bare_place_cannot_be_compared() -> None:
    assert places(a_finish(4, "", place=1), a_finish(5, "42.90")) == [(3, "place")]


def test_a_list_without_rows_and_one_without_lanes_are_named() -> None:
    assert "names no lane" in read_finish_list(b"lane,time\r\n")[1][0].problem
    (problem,) = read_finish_list(b"time\r\n42.35\r\n")[1]
    assert (problem.row, problem.column) == (1, "lane")


def test_a_workbook_with_times_as_durations_gives_the_same_as_text() -> None:
    book = openpyxl.Workbook()
    book.active.append(["lane", "time"])
    book.active.append([4, timedelta(minutes=3, seconds=2, milliseconds=120)])
    book.active["B2"].number_format = "mm:ss.00"
    assert read_finish_list(save(book)) == (good(a_finish(4, "3:02.12")), ())


def test_own_header_names_are_mapped() -> None:
    found, problems = read_finish_list(
        b"Bahn;Zeit\r\n4;42,35\r\n", {"Bahn": "lane", "Zeit": "time"}
    )
    assert problems == ()
    assert found == good(a_finish(4, "42.35"))

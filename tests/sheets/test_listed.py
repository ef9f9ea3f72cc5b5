"""What stands against a list is told in the order of its rows, whoever found it."""

from __future__ import annotations

from app.sheets.crew_list import read_crew_list
from app.sheets.listed import Listed, read_listed
from app.sheets.problems import Problem

REST = Problem(None, None, "And 3 more.")


def test_problems_found_later_stand_in_the_order_of_the_rows_and_the_rest_last() -> None:
    listed: Listed[str] = Listed(("a", "b"), (), (Problem(3, "lanes", "read"), REST))
    told = listed.with_problems(
        (Problem(None, "edge", "missing"), Problem(2, "official", "unknown"))
    )
    assert [one.row for one in told.problems] == [None, 2, 3, None]
    assert told.problems[-1] is REST
    assert told.rows == listed.rows


def test_what_is_no_table_is_a_list_without_rows_that_says_so() -> None:
    listed = read_listed(read_crew_list, b"\x00\x01\x02", {})
    assert listed.rows == ()
    assert len(listed.problems) == 1

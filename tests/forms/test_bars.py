"""The numbers of a chart hide nothing: no filling, and no other number."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.forms.bars import SEEN, BarSize, Part, lay_out


def a_size(most: int) -> BarSize:
    """A chart as wide as a phone shows it."""
    return BarSize(356.0, most, lambda number: 7.0 * len(number), 9.0, 11.0)


def ends(part: Part) -> tuple[float, float]:
    return part.number_left, part.number_left + part.number_width


@given(st.lists(st.integers(0, 999), min_size=5, max_size=5).filter(any), st.integers(0, 3000))
def test_no_number_covers_another_or_leaves_the_chart_and_each_filling_is_seen(
    counts: Sequence[int], more: int
) -> None:
    parts = lay_out(counts, a_size(sum(counts) + more))
    assert [(one.kind, one.count) for one in parts] == [
        (kind, count) for kind, count in enumerate(counts) if count
    ]
    for one in parts:
        assert ends(one)[0] >= 0
        assert ends(one)[1] <= 356.001
        if not one.is_above:
            assert ends(one)[0] >= one.left + SEEN
            assert ends(one)[1] <= one.left + one.width - SEEN
    above = [one for one in parts if one.is_above]
    assert all(ends(one)[1] < ends(then)[0] for one, then in pairwise(above))


@pytest.mark.parametrize(("most", "is_above"), [(1, False), (14, False), (23, True), (300, True)])
def test_a_single_report_of_many_has_its_number_above_the_bar(most: int, is_above: bool) -> None:
    *_, last = lay_out((most - 1, 0, 0, 0, 1), a_size(most))
    assert (last.count, last.is_above) == (1, is_above)

"""Names from right to left, set apart where no element can do it (UAX 9, 2.5 and 2.6)."""

from __future__ import annotations

import pytest

from app.pages.directions import apart


@pytest.mark.parametrize("name", ["רציף 4", "رصيف الفنار", "AC نادي", "١٢٣"])
def test_a_name_that_turns_its_neighbours_stands_in_isolates(name: str) -> None:
    assert apart(name) == f"\u2068{name}\u2069"


@pytest.mark.parametrize("name", ["Saltmarsh", "नमक दलदल", "Порт-7", "燈台", "7 & 8", ""])
def test_a_name_that_runs_with_its_neighbours_stays_as_it_is(name: str) -> None:
    assert apart(name) == name


def test_no_name_gives_no_text() -> None:
    assert apart(None) == ""

"""A race time is read as timing systems and people write it, and nothing else is."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.sheets.finish_list import NotATime, parse_time


@pytest.mark.parametrize(
    ("text", "thousandths", "decimals"),
    [
        # The first four stood on results of men's and women's relays at Rio 2016 and Tokyo 2025
        # (press accounts); the others differ from them in their writing alone.
        ("42.70", 42_700, 2),
        ("38.64", 38_640, 2),
        ("2:58.58", 178_580, 2),
        ("3:00.39", 180_390, 2),
        ("42,70", 42_700, 2),
        (" 2:58,58 ", 178_580, 2),
        ("178.58", 178_580, 2),
        ("3:02.123", 182_123, 3),
        ("42.7", 42_700, 1),
        ("0:42.70", 42_700, 2),
        ("0:02:58.58", 178_580, 2),
        ("1:02:03.45", 3_723_450, 2),
        ("62:03.45", 3_723_450, 2),
    ],
)
def test_a_time_is_read_in_every_usual_writing(text: str, thousandths: int, decimals: int) -> None:
    assert parse_time(text) == (thousandths, decimals)


@pytest.mark.parametrize(
    ("text", "part_of_reason"),
    [
        ("-42.35", "is no time"),
        ("nan", "is no time"),
        ("inf", "is no time"),
        ("4.2e1", "is no time"),
        ("3.02.12", "is no time"),
        ("3:02:12", "no decimals"),
        ("43", "no decimals"),
        ("4235", "no decimals"),
        ("42.", "is no time"),
        ("3:61.00", "00 to 59"),
        ("3:2.00", "00 to 59"),
        ("1:60:00.00", "59 minutes"),
        ("42.3512", "three decimals"),
        ("0.00", "a relay team runs"),
        ("2:00:00.01", "a relay team runs"),
        ("99999.99", "a relay team runs"),
        ("٤٢.٣٥", "is no time"),
        ("", "is no time"),
        ("9" * 5000 + ".00", "is no time"),
    ],
)
def test_what_is_no_time_is_refused_with_the_reason(text: str, part_of_reason: str) -> None:
    with pytest.raises(NotATime, match=part_of_reason):
        parse_time(text)


@settings(deadline=None)
@given(st.integers(1, 7_200_000), st.sampled_from(".,"))
def test_a_written_time_reads_back(thousandths: int, mark: str) -> None:
    seconds, rest = divmod(thousandths, 1000)
    assert parse_time(f"{seconds}{mark}{rest:03}") == (thousandths, 3)
    clock = f"{seconds // 60}:{seconds % 60:02}{mark}{rest:03}"
    assert parse_time(clock) == (thousandths, 3)

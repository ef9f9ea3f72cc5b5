"""Hours of a list of people: what the reader takes, the stored wishes can hold."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.access.wire import OfficialOut
from app.crew_search.lists import read_people, with_people
from app.crew_search.wire import HoursIn, WishesOut
from app.ids import OfficialId, new_id
from app.roles import Role

OFFICIAL = OfficialOut(
    id=OfficialId(new_id()),
    name="Ada Weir",
    affiliation="",
    roles=[Role.UMPIRE],
    active=True,
    version=1,
    has_pin=False,
)
CLOCKS = st.builds("{:02}:{:02}".format, st.integers(0, 25), st.integers(0, 60))
DAYS = st.sampled_from(["", "2026-12-05 ", "2026-12-06T", "1999-12-05 ", "2100-12-31T"])
HOURS = st.builds("{}{}{}".format, DAYS, CLOCKS, st.sampled_from(["", ":00", ":30", "Z", "+01:00"]))


@settings(max_examples=300, deadline=None)
@given(begins=HOURS | st.just(""), ends=HOURS | st.just(""))
def test_whatever_hours_a_list_has_are_kept_or_told(begins: str, ends: str) -> None:
    content = f"name,from,until\nAda Weir,{begins},{ends}\n".encode()
    listed = read_people(content, {})
    seen = with_people(WishesOut(version=0), listed, [OFFICIAL])
    kept = [(one.begins, one.ends) for each in seen.wishes.people for one in each.hours]
    if seen.told.problems:
        assert kept == []
    else:
        assert kept == [(one.begins, one.ends) for one in listed.rows if begins or ends]
        assert WishesOut.model_validate_json(
            WishesOut(**dict(seen.wishes), version=1).model_dump_json()
        )


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        ("24:00", "00:00"),
        ("24:00:00", "00:00"),
        ("2026-06-13T24:00", "2026-06-14T00:00"),
        ("12:24:00", "12:24"),
        ("2026-06-13T12:24:00", "2026-06-13T12:24"),
    ],
)
def test_a_day_ends_at_its_24_00_and_24_minutes_past_are_none(sent: str, kept: str) -> None:
    assert HoursIn(ends=sent).ends == kept


@pytest.mark.parametrize("sent", ["24:00Z", "24:00 or so", "2100-12-31T24:00", "24:01", "124:00"])
def test_an_end_that_is_none_is_refused(sent: str) -> None:
    with pytest.raises(ValueError, match="clock"):
        HoursIn(ends=sent)

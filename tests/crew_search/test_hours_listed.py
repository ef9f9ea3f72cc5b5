"""Hours of a list of people: what the reader takes, the stored wishes can hold."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from app.access.wire import OfficialOut
from app.crew_search.lists import read_people, with_people
from app.crew_search.wire import WishesOut
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
DAYS = st.sampled_from(["", "2026-12-05 ", "2026-12-06T", "1999-12-05 "])
HOURS = st.builds("{}{}{}".format, DAYS, CLOCKS, st.sampled_from(["", ":30", "Z", "+01:00"]))


@settings(max_examples=300, deadline=None)
@given(begins=HOURS | st.just(""), ends=HOURS | st.just(""))
def test_whatever_hours_a_list_has_are_kept_or_told(begins: str, ends: str) -> None:
    content = f"name,from,until\nAda Weir,{begins},{ends}\n".encode()
    seen = with_people(WishesOut(version=0), read_people(content, {}), [OFFICIAL])
    kept = [(one.begins or "", one.ends or "") for each in seen.wishes.people for one in each.hours]
    if seen.told.problems:
        assert kept == []
    else:
        assert [bool(any(one)) for one in kept] == [True] * bool(begins or ends)

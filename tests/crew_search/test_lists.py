"""Who is planned, and how: lists that are refused by row and column in whatever they say wrongly,
and choices that bind nobody, which are told instead of being dropped.

That a list is read as it is for the command is the project's own rule.
"""

from __future__ import annotations

import pytest

from app.ids import new_id
from app.sheets.crew_template import MOST_POSTS
from tests.builders import Json, MeetAtHand, a_bare_meet, a_problem, add_official
from tests.crew_search.test_search import a_list, a_programme, searched, umpires, wishes
from tests.running import Service

# What is read and refused is the same on either engine.
pytestmark = pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """Two umpires, and a chief who plans them."""
    meet = a_bare_meet(service)
    for number in range(2):
        add_official(meet, f"Umpire {number}", "umpire")
    add_official(meet, "Chief", "chief_umpire")
    return meet


def chief(meet: MeetAtHand) -> str:
    officials = meet.organiser.get("officials").json()
    return next(str(one["id"]) for one in officials if one["name"] == "Chief")


def refused(meet: MeetAtHand, path: str, text: str) -> list[tuple[int | None, str | None, str]]:
    """Its problems, which are the same looked at and sent; nothing is stored."""
    before = meet.organiser.get("crew/wishes").json(), meet.head()
    looked_at, sent = a_list(meet, path, text, check=True), a_list(meet, path, text)
    assert (looked_at["status"], sent["status"]) == (200, 422)
    assert looked_at["problems"] == sent["problems"]
    assert (meet.organiser.get("crew/wishes").json(), meet.head()) == before
    return [(one["row"], one["column"], one["problem"]) for one in sent["problems"]]


@pytest.mark.parametrize(
    ("begins", "ends", "column"),
    [
        ("22:00", "02:00", "until"),
        ("10:00", "10:00", "until"),
        ("2026-12-05 10:00", "2026-12-05 09:00", "until"),
        ("2026-12-05T10:00", "11:00", "until"),
        ("2026-12-05T10:00Z", "", "from"),
        ("2026-12-05T10:00+01:00", "", "from"),
    ],
)
def test_hours_that_cannot_be_are_told_by_row_and_column(
    meet: MeetAtHand, begins: str, ends: str, column: str
) -> None:
    told = refused(meet, "people-list", f"name,from,until\nUmpire 1,{begins},{ends}\n")
    assert [where for *where, _why in told] == [[2, column]]


def test_more_wrong_hours_than_are_told_are_refused_as_well(meet: MeetAtHand) -> None:
    rows = "".join(f"Nobody {number},10:00,09:00\n" for number in range(300))
    told = refused(meet, "people-list", f"name,from,until\n{rows}Umpire 1,10:00,09:00\n")
    assert "more" in told[-1][2]


def test_a_template_with_more_posts_than_there_are_sizes_for_says_how_many_there_may_be(
    meet: MeetAtHand,
) -> None:
    for number in (MOST_POSTS + 1, 10_000):
        rows = "2,end,inside,4\n" * number
        [(_row, _column, why)] = refused(meet, "crew-template", f"people,edge,side,lanes\n{rows}")
        assert "at most 209" in why
        assert f"{number:,} posts" in why


@pytest.mark.parametrize(
    ("path", "text", "unknown"),
    [
        ("people-list", "name,form,untill\nUmpire 1,09:00,12:00\n", "form, untill"),
        (
            "crew-template",
            "people,edge,side,lanes,lane\n2,start,inside,8,1\n2,end,outside,8,1\n",
            "lane",
        ),
    ],
)
def test_a_column_that_nobody_knows_is_refused_as_the_command_refuses_it(
    meet: MeetAtHand, path: str, text: str, unknown: str
) -> None:
    [(_row, _column, why)] = refused(meet, path, text)
    assert f"not known: {unknown}." in why


@pytest.mark.parametrize("written", ["25:00", "", "noon", "2026-13-05T10:00", "24:00"])
def test_hours_in_no_form_say_how_they_are_written(meet: MeetAtHand, written: str) -> None:
    people = [{"official": umpires(meet)[0], "hours": [{"begins": written}]}]
    told = a_problem(meet.organiser.put("crew/wishes", {"people": people}), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/people/0/hours/0/begins"
    assert "write it as 09:30" in told["detail"]


@pytest.mark.parametrize(
    ("begins", "ends", "stored"),
    [
        ("20:00", "24:00", "00:00"),
        ("2026-12-31T20:00", "2026-12-31T24:00", "2027-01-01T00:00"),
    ],
)
def test_an_end_at_24_is_the_midnight_after_it(
    meet: MeetAtHand, begins: str, ends: str, stored: str
) -> None:
    people = [{"official": umpires(meet)[0], "hours": [{"begins": begins, "ends": ends}]}]
    assert wishes(meet, people=people)["people"][0]["hours"][0]["ends"] == stored


def test_a_search_from_a_heat_that_is_not_on_the_programme_is_refused_whatever_it_keeps(
    meet: MeetAtHand,
) -> None:
    heats = a_programme(meet)
    for keep in (False, True):
        sent = {"seconds": 1, "keep": keep, "from_heat": new_id()}
        told = meet.organiser.put(f"crew/searches/{new_id()}", sent)
        assert "not on the programme" in a_problem(told, 404, "not-found")["detail"]
    told = searched(meet, from_heat=heats[0]["id"], seconds=1)
    assert told["phase"] == "ended"


def a_pin(official: str, heat: str) -> Json:
    return {"official": official, "heat": heat, "take_over": 1}


def test_a_pin_for_somebody_who_cannot_be_planned_is_refused_by_its_field(
    meet: MeetAtHand,
) -> None:
    heat = a_programme(meet)[0]["id"]
    first, other = umpires(meet)
    for people, official in (([], chief(meet)), ([{"official": first}], other)):
        sent = {"people": people, "pins": [a_pin(official, heat)]}
        told = a_problem(meet.organiser.put("crew/wishes", sent), 422, "malformed")
        assert told["errors"][0]["pointer"] == "/pins/0/official"
        assert "not among those who can be planned: add their row" in told["detail"]
    people = [{"official": chief(meet)}]
    assert wishes(meet, people=people, pins=[a_pin(chief(meet), heat)])["pins"]


def test_people_without_somebody_who_is_pinned_are_refused_with_the_pin(meet: MeetAtHand) -> None:
    heat = a_programme(meet)[0]["id"]
    first, other = umpires(meet)
    wishes(meet, people=[{"official": first}, {"official": other}], pins=[a_pin(other, heat)])
    seen = meet.organiser.get("crew/wishes").headers["ETag"]
    sent = {"people": [{"official": first}], "pins": [a_pin(other, heat)]}
    told = a_problem(meet.organiser.put("crew/wishes", sent, etag=seen), 422, "malformed")
    assert told["errors"][0]["pointer"] == "/pins/0/official"


def test_a_list_without_somebody_who_is_pinned_or_dropped_out_says_so_and_keeps_the_choice(
    meet: MeetAtHand,
) -> None:
    heat = a_programme(meet)[0]["id"]
    _first, other = umpires(meet)
    pins = wishes(meet, pins=[a_pin(other, heat)], dropped=[other])["pins"]
    for check in (True, False):
        told = a_list(meet, "people-list", "name\nUmpire 0\n", check=check)
        assert (told["status"], told["stored"]) == (200, not check)
        names = ["Umpire 1"]
        assert (told["pinned_left_out"], told["dropped_left_out"]) == (names, names)
    stored = meet.organiser.get("crew/wishes").json()
    assert (stored["pins"], stored["dropped"]) == (pins, [other])
    # Somebody else can be changed meanwhile: this choice bound nobody before.
    assert wishes(meet, people=stored["people"], pins=pins, dropped=[])["pins"] == pins


def test_only_those_who_would_be_planned_are_told_as_left_out(meet: MeetAtHand) -> None:
    told = a_list(meet, "people-list", "name\nUmpire 0\n", check=True)
    assert told["left_out"] == ["Umpire 1"]

"""What of the plan in force goes against what is wished, as it is told to whoever leads the crew:
beside each who dropped out, on the page of the crew, and on the chief's sheet.

When a crew must be there, and until when, is the planner's: two minutes before the start, three
after it for a 4x100 (common practice).
"""

from __future__ import annotations

import re

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_bare_meet, a_post, add_official
from tests.crew_search.test_search import a_programme, by_hand, searched, take, umpires, wishes
from tests.forms.test_structure import read_structure
from tests.running import Service

# What is told is the same on either engine.
pytestmark = pytest.mark.parametrize("running_service", ["sqlite"], indirect=True)

DROPPED = "Dropped out, and still has posts"
OUTSIDE = "On post outside their hours"
BARRED = "Where they may not stand"


@pytest.fixture
def meet(service: Service) -> MeetAtHand:
    """Seven umpires, of whom the first six watch an edge of a zone each, all day, in four heats."""
    meet = a_bare_meet(service)
    for number in range(7):
        add_official(meet, f"Umpire {number}", "umpire")
    add_official(meet, "chief", "chief_umpire")
    a_programme(meet)
    by_hand(meet)
    return meet


def page(meet: MeetAtHand, name: str, language: str = "en") -> str:
    """What a page of the organiser says, in one line."""
    headers = {"Accept": "text/html", "Accept-Language": language}
    told = meet.organiser.get(f"/meets/{meet.id}/organiser/{name}", headers=headers)
    assert told.status_code == 200, told.text
    return " ".join(re.sub(r"<[^>]+>", " ", told.text).split())


def on_sheet(meet: MeetAtHand) -> str:
    answer = meet.organiser.get("crew/chiefs-sheet.pdf")
    assert answer.status_code == 200, answer.text
    return " ".join(text for _, text in read_structure(answer.content))


def start_first(meet: MeetAtHand) -> None:
    first = meet.organiser.get("heats").json()["heats"][0]["id"]
    seen = meet.organiser.get(f"heats/{first}").headers["ETag"]
    assert meet["chief"].post(f"heats/{first}/start", etag=seen).status_code == 200


def a_person(official: str, **what: object) -> Json:
    return {"official": official, "experience": 1, "hours": [], "may_not": [], **what}


def test_whoever_drops_out_is_told_with_the_posts_that_the_plan_in_force_still_has_for_them(
    meet: MeetAtHand,
) -> None:
    assert DROPPED not in page(meet, "crew") + on_sheet(meet)
    wishes(meet, dropped=[umpires(meet)[0], umpires(meet)[6]])
    searching = page(meet, "crew-search")
    assert "Umpire 0 : still has 1 post in 4 heats to come" in searching
    assert "Umpire 6 : still has" not in searching
    assert "search for the smallest change of the plan in force, and take it over" in searching
    told = f"{DROPPED} in heats to come: Umpire 0 : 1 post Women 4x100 m , final , heats 1–4"
    assert told in page(meet, "crew")
    heats = "Women 4x100 m, final: heat 1, Women 4x100 m, final: heat 2 and 2 more heats"
    assert f"{DROPPED}: Umpire 0: {heats}." in on_sheet(meet)


def test_heats_that_have_begun_count_no_more_for_whoever_dropped_out(meet: MeetAtHand) -> None:
    start_first(meet)
    wishes(meet, dropped=[umpires(meet)[0]])
    assert "Umpire 0 : still has 1 post in 3 heats to come" in page(meet, "crew-search")


def test_the_smallest_change_taken_over_leaves_nothing_to_tell_of_whoever_dropped_out(
    meet: MeetAtHand,
) -> None:
    wishes(meet, dropped=[umpires(meet)[0]])
    found = searched(meet, keep=True, seconds=3)
    assert "still has" in page(meet, "crew-search"), "a plan that is only found changes nothing"
    take(meet, found)
    searching = page(meet, "crew-search")
    assert "Umpire 0" in searching
    assert "still has" not in searching
    assert "smallest change of the plan in force, and take it over" not in searching
    assert DROPPED not in page(meet, "crew") + on_sheet(meet)


def test_heats_without_a_start_time_are_told_as_those_that_no_search_changes(
    meet: MeetAtHand,
) -> None:
    text = "event,round,heat,lane,team\nMen 4x100 m,final,1,3,Tern\nMen 4x100 m,final,1,4,Gull\n"
    assert meet.organiser.post("start-lists", content=text).status_code == 200
    wishes(meet, dropped=[umpires(meet)[0]])
    told = "A search leaves heats without a start time as they are: Men 4x100 m , final , heat 1"
    assert told in page(meet, "crew-search")


def test_whoever_is_on_post_outside_their_hours_is_told_with_those_heats(meet: MeetAtHand) -> None:
    """From two minutes before the start of a heat until three after it."""
    hours = [
        {"begins": "10:08", "ends": "10:33"},
        {"begins": "10:09", "ends": None},
        {"begins": None, "ends": "10:32"},
        {"begins": "2030-01-01T10:00", "ends": "2030-01-01T11:00"},
    ]
    people = zip(umpires(meet), hours, strict=False)
    wishes(meet, people=[a_person(one, hours=[hour]) for one, hour in people])
    told = (
        "On post outside their hours: "
        "Umpire 0 : 1 post Women 4x100 m , final , heat 1 "
        "Umpire 1 : 1 post Women 4x100 m , final , heats 1–2 "
        "Umpire 2 : 1 post Women 4x100 m , final , heat 4 "
        "Umpire 3 : 1 post Women 4x100 m , final , heats 1–4"
    )
    assert told in page(meet, "crew")
    sheet = on_sheet(meet)
    assert f"{OUTSIDE}: Umpire 0: Women 4x100 m, final: heat 1; Umpire 1" in sheet
    assert BARRED not in sheet


def test_whoever_stands_where_they_may_not_is_told(meet: MeetAtHand) -> None:
    first, second, third = umpires(meet)[:3]
    people = [
        a_person(first, may_not=[{"take_over": 1, "edge": "start"}]),
        a_person(second, may_not=[{"take_over": 1, "edge": "start"}]),
        a_person(third, may_not=[{"side": "inside"}]),
    ]
    wishes(meet, people=people)
    told = page(meet, "crew")
    assert "On post where they may not stand: Umpire 0 : 1 post" in told
    assert "Umpire 2 : 1 post Women 4x100 m , final , heats 1–4" in told
    assert "Umpire 1 : 1 post" not in told
    assert f"{BARRED}: Umpire 0: Women 4x100 m" in on_sheet(meet)


def test_a_bar_from_one_of_the_take_overs_at_a_place_leaves_the_place_open(
    meet: MeetAtHand,
) -> None:
    """A 4x400 has all its take-overs at one place, where the planner has one crew see them all."""
    text = "event,round,heat,lane,team\nWomen 4x400 m,final,1,3,Tern\n"
    assert meet.organiser.post("start-lists", content=text).status_code == 200
    who = umpires(meet)[0]
    seen = meet.organiser.get("crew").headers["ETag"]
    post = a_post(new_id(), who, take_over=1, relays=["4x400"])
    assert meet.organiser.put("crew", {"posts": [post]}, etag=seen).is_success
    wishes(meet, people=[a_person(who, may_not=[{"take_over": 1}])])
    assert BARRED not in on_sheet(meet)
    whole = [{"take_over": take_over} for take_over in (1, 2, 3)]
    wishes(meet, people=[a_person(who, may_not=whole)])
    assert f"{BARRED}: Umpire 0: Women 4x400 m, final: heat 1" in on_sheet(meet)


def test_whoever_dropped_out_is_not_told_again_for_their_hours(meet: MeetAtHand) -> None:
    who = umpires(meet)[0]
    person = a_person(who, hours=[{"begins": "12:00", "ends": None}], may_not=[{"take_over": 1}])
    wishes(meet, people=[person], dropped=[who])
    sheet = on_sheet(meet)
    assert DROPPED in sheet
    assert OUTSIDE not in sheet
    assert BARRED not in sheet


def test_the_notes_are_told_in_german(meet: MeetAtHand) -> None:
    gone, late = umpires(meet)[:2]
    hours = [{"begins": "12:00", "ends": None}]
    wishes(meet, dropped=[gone], people=[a_person(late, hours=hours, may_not=[{"take_over": 1}])])
    told = page(meet, "crew", "de")
    assert "Ausgefallen und in kommenden Läufen noch mit Posten: Umpire 0 : 1 Posten" in told
    assert "Außerhalb ihrer Zeiten auf Posten: Umpire 1" in told
    assert "Auf Posten, wo sie nicht stehen dürfen: Umpire 1" in told
    assert "hat noch 1 Posten in 4 kommenden Läufen" in page(meet, "crew-search", "de")

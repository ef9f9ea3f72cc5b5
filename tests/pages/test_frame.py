"""A place is shown to those who have work there, and whoever is shown it may open it."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html import unescape
from urllib.parse import urlencode

import pytest

from app.access.who_may import WHO_OPENS
from app.cursors import cursor
from app.ids import new_id
from app.pages.frame import PLACES, WORKS_AT
from app.roles import Role
from tests.appeals.desk import (
    a_disqualification,
    a_rejected_protest,
    announced,
    appeal,
    jurors,
)
from tests.builders import MeetAtHand, Person, add_official

PAGE = {"Accept": "text/html"}
LED_TO = {
    "umpire": ["Zone", "Meet report", "Notice board"],
    "chief_umpire": ["Head official", "Crew", "Zone", "Meet report", "Notice board"],
    "referee": [
        *("Head official", "Results desk", "Jury", "Zone", "Meet report", "Notice board"),
    ],
    "results": ["Results desk", "Jury", "Notice board"],
    "jury": ["Results desk", "Jury", "Notice board"],
    "organiser": ["Results desk", "Organiser", "Notice board"],
}


def led_to(person: Person) -> list[str]:
    """The places above a page that everybody may open."""
    told = person.get(f"/meets/{person.meet}/keys", headers=PAGE)
    assert told.status_code == 200, told.text
    places = re.search(r'<nav aria-label="Places">(.*?)</nav>', told.text, re.DOTALL)
    assert places is not None
    return re.findall(r">([^<>]+)</a>", places[1])


@pytest.mark.parametrize("place", PLACES)
def test_whoever_is_led_to_a_place_may_open_it(place: str) -> None:
    work, who = PLACES[place], WHO_OPENS["GET", PLACES[place].page]
    assert who.public or work.roles <= who.roles
    assert who.public or not work.everybody


@pytest.mark.parametrize("role", list(Role))
def test_everybody_is_led_to_the_place_where_they_work_first(role: Role) -> None:
    assert role in PLACES[WORKS_AT[role]].roles


@pytest.mark.parametrize("role", LED_TO)
def test_each_role_sees_the_places_where_it_has_work(meet: MeetAtHand, role: str) -> None:
    assert led_to(meet[role]) == LED_TO[role]


def test_an_organiser_who_is_chief_umpire_too_is_led_to_the_crew_once(meet: MeetAtHand) -> None:
    both = add_official(meet, "Both Hats", "organiser", "chief_umpire")
    assert "Crew" not in led_to(both)
    assert "Organiser" in led_to(both)


def test_an_organiser_is_led_to_the_jury_as_soon_as_they_are_a_panels_secretary(
    meet: MeetAtHand,
) -> None:
    meet.start()
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    lodged = appeal(meet, a_rejected_protest(meet, ruling))
    chair, *members = (meet[name].id for name in jurors(meet, "", "", ""))
    seen = meet["jury"].get(f"appeals/{lodged['id']}").headers["ETag"]
    panel = {"chair": chair, "members": members, "secretary_official": meet.organiser.id}
    named = meet["jury"].put(f"appeals/{lodged['id']}/panel", panel, etag=seen)
    assert named.status_code == 200, named.text
    assert "Jury" in led_to(meet.organiser)
    other = add_official(meet, "Another Organiser", "organiser")
    assert "Jury" not in led_to(other)


def other_language(person: Person, path: str) -> str:
    """Where the link to a page in German leads."""
    told = person.get(f"/meets/{person.meet}{path}", headers=PAGE)
    assert told.status_code == 200, told.text
    link = re.search(r'<a href="([^"]*)" hreflang="de"', told.text)
    assert link is not None
    return unescape(link[1])


def test_another_language_shows_the_same_heats(meet: MeetAtHand) -> None:
    """The query says which: it goes along with each link to another language."""
    heat = meet.heat(1)
    assert other_language(meet.referee, f"/head?heat={heat}") == f"?heat={heat}&language=de"
    assert other_language(meet.desk, "/desk?language=xx&after=1") == "?after=1&language=de"
    assert other_language(meet.referee, "/desk") == "?language=de"


def test_another_language_shows_the_same_page_of_the_notice_board(meet: MeetAtHand) -> None:
    """It is made once for all who ask, and by what it was asked for."""
    earlier = urlencode({"before": cursor(datetime(2026, 6, 13, tzinfo=UTC), new_id())})
    assert other_language(meet.umpire, f"?{earlier}") == f"?{earlier}&language=de"
    assert other_language(meet.umpire, "") == "?language=de"

"""The results desk's pages over HTTP: whoever may see them, and what each role sees on them."""

from __future__ import annotations

from datetime import timedelta

import httpx
import pytest

from app.ids import new_id
from tests.appeals.desk import (
    a_protest,
    an_announced_disqualification,
    an_upheld_appeal,
    appeal,
    decided,
    lodge,
    set_aside,
)
from tests.builders import MeetAtHand, Person

PAGE = {"Accept": "text/html"}


def opened(who: Person, path: str) -> httpx.Response:
    return who.get(f"/meets/{who.meet}/{path}", headers=PAGE)


def test_the_desk_names_what_is_in_the_way_and_for_whom_protests_wait(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    meet.start(1)
    protest = lodge(meet, a_protest(meet, ruling))
    page = opened(meet.desk, "desk")
    assert page.status_code == 200
    assert "Running, or waiting for posts" in page.text
    assert "Silent: " in page.text
    assert "for the referee" in page.text
    assert f"/protests/{protest['id']}" in page.text
    decided(meet, protest)
    assert "to be told by the desk" in opened(meet.desk, "desk").text
    assert meet.desk.put(f"protests/{protest['id']}/advice", {}).status_code == 200
    appeal(meet, protest)
    assert "for the jury" in opened(meet.desk, "desk").text


def test_an_amended_result_stands_first_until_it_is_announced(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    assert "To be announced again" not in opened(meet.desk, "desk").text
    decided(meet, protest, "upheld", orders=set_aside(ruling))
    assert "To be announced again" in opened(meet.desk, "desk").text
    heat = opened(meet.desk, f"desk/heats/{meet.heat()}").text
    assert "What has changed since announcement 1" in heat
    assert "Announce the amended result" in opened(meet.desk, f"protests/{protest['id']}").text


def test_a_ruling_that_the_jury_set_aside_does_not_stand_on_the_heats_page_as_if_nothing_was(
    meet: MeetAtHand,
) -> None:
    an_upheld_appeal(meet)
    page = opened(meet.desk, f"desk/heats/{meet.heat()}").text
    rulings, protests = page.split('id="rulings-head"')[1].split('id="heat-protests"')
    assert "was set aside by the decision of the jury on appeal 1" in rulings
    assert "The jury, on appeal 1:" in protests
    (upheld,) = meet["jury"].get("appeals").json()["appeals"]
    appeal = opened(meet.desk, f"jury/{upheld['id']}").text
    assert "stays hidden" not in appeal
    assert "stands in the meet's record" in appeal


def test_the_organiser_sees_results_and_nothing_that_was_lodged(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    for path in ("desk", f"desk/heats/{meet.heat()}", "desk/rounds"):
        page = opened(meet.organiser, path)
        assert page.status_code == 200, path
        assert protest["id"] not in page.text
        assert "form.pdf" not in page.text
        assert "Announce, and sign" not in page.text
    for path in ("protests", f"protests/{protest['id']}"):
        assert opened(meet.organiser, path).status_code == 403


def test_reports_are_shown_with_a_protest_to_those_alone_who_may_read_them(
    meet: MeetAtHand,
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    said = "Both hands on the baton at the line."
    for role, sees in {
        "referee": True,
        "chief_umpire": True,
        "jury": True,
        "results": False,
    }.items():
        page = opened(meet[role], f"protests/{protest['id']}")
        assert page.status_code == 200, role
        assert (said in page.text) is sees, role
        assert ("Decide, and sign" in page.text) is (role == "referee"), role


@pytest.mark.parametrize("path", ["desk", "desk/rounds", "protests"])
def test_an_umpire_and_whoever_has_not_joined_are_told_so_on_a_page(
    meet: MeetAtHand, path: str
) -> None:
    refused = opened(meet.umpire, path)
    assert (refused.status_code, "<h1" in refused.text) == (403, True)
    stranger = meet.service.http.get(f"/meets/{meet.id}/{path}", headers=PAGE)
    assert (stranger.status_code, "<h1" in stranger.text) == (401, True)


def test_what_is_not_of_this_meet_is_not_found_on_a_page(meet: MeetAtHand) -> None:
    for path in (
        f"desk/heats/{new_id()}",
        f"protests/{new_id()}",
        f"desk/heats/{new_id()}/protest",
    ):
        page = opened(meet.desk, path)
        assert (page.status_code, "<h1" in page.text) == (404, True), path


def test_the_referee_is_offered_what_can_be_ordered_and_no_more(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    page = opened(meet.referee, f"protests/{protest['id']}").text
    assert (
        f"&#34;set aside&#34;,&#34;disqualification&#34;:&#34;{ruling['disqualification']}" in page
    )
    assert "&#34;order&#34;:&#34;restore&#34;" not in page
    assert '<option value="disqualify">' in page
    assert '<option value="advance">' not in page, "nobody goes on from this round"


def test_a_judge_joins_and_comes_first_to_the_place_where_they_work(meet: MeetAtHand) -> None:
    for role, place in {"results": "desk", "organiser": "organiser"}.items():
        start = meet[role].get(f"/meets/{meet.id}/start", headers=PAGE)
        assert start.status_code == 303
        assert start.headers["location"].endswith(f"/{place}"), role


def test_the_list_of_protests_marks_those_that_came_late(meet: MeetAtHand) -> None:
    ruling = an_announced_disqualification(meet)
    meet.service.clock.move(timedelta(minutes=31))
    assert lodge(meet, a_protest(meet, ruling))["marks"] == ["late"]
    page = opened(meet.desk, "protests")
    assert page.status_code == 200
    assert '<span class="tag">late</span>' in page.text

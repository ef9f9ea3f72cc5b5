"""What the organiser's pages show, and that a meet can be set up without a session."""

from __future__ import annotations

import re

from app.ids import new_id
from tests.builders import MeetAtHand, a_bare_meet, a_meet, a_post, a_start_list
from tests.conftest import NewDatabase
from tests.running import Service, a_service

PAGE = {"Accept": "text/html"}


def test_the_organiser_sees_what_the_meet_has_and_what_it_lacks(meet: MeetAtHand) -> None:
    base = f"/meets/{meet.id}/organiser"
    told = meet.organiser.get(base, headers=PAGE).text
    assert "2 heats" in told
    assert "World Athletics, from 2025-11-01" in told
    officials = meet.organiser.get(f"{base}/officials", headers=PAGE).text
    assert all(person.name in officials for person in meet.people.values())
    assert "Tern" in meet.organiser.get(f"{base}/start-lists", headers=PAGE).text


def test_the_crew_page_says_which_edges_nobody_watches(meet: MeetAtHand) -> None:
    gaps = meet.organiser.get("crew").json()["unwatched"]
    page = meet["chief_umpire"].get(f"/meets/{meet.id}/organiser/crew", headers=PAGE)
    assert page.status_code == 200
    assert gaps
    assert all(gap["words"] in page.text for gap in gaps)


def test_the_crew_page_says_whom_the_plan_wants_at_two_places_during_one_race(
    meet: MeetAtHand,
) -> None:
    posts = [a_post(new_id(), meet.umpire.id, take_over=one) for one in (1, 2)]
    etag = meet.organiser.get("crew").headers["ETag"]
    told = meet.organiser.put("crew", {"posts": posts}, etag=etag).json()["apart"]
    page = meet.organiser.get(f"/meets/{meet.id}/organiser/crew", headers=PAGE).text
    assert len(told) == 1
    said = re.sub(r"<[^>]+>", "", page)
    assert told[0]["words"] in said


def test_measures_that_make_no_lap_are_told_where_they_are_set_and_where_they_are_missed(
    meet: MeetAtHand,
) -> None:
    base = f"/meets/{meet.id}/organiser"
    for page in (base, f"{base}/crew"):
        assert "no lap of 400 or 200 m" not in meet.organiser.get(page, headers=PAGE).text
    change_track(meet, radius_m=30)
    for page in (base, f"{base}/crew"):
        assert "no lap of 400 or 200 m" in meet.organiser.get(page, headers=PAGE).text
    assert "on the track</h3>" not in meet.organiser.get(f"{base}/crew", headers=PAGE).text


def change_track(meet: MeetAtHand, **measures: float) -> None:
    """Store other measures of the track."""
    address = f"/api/meets/{meet.id}"
    seen = meet.organiser.get(address)
    kept = ("name", "venue", "first_day", "last_day", "time_zone", "edition", "terms")
    sent = {name: seen.json()[name] for name in kept}
    sent["track"] = seen.json()["track"] | measures
    answer = meet.organiser.put(address, sent, etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text


def test_whoever_has_the_setup_key_finds_every_edition_on_the_page_for_a_new_meet(
    meet: MeetAtHand,
) -> None:
    page = meet.service.http.get("/set-up", headers=PAGE)
    assert page.status_code == 200
    editions = meet.service.http.get("/api/editions").json()
    assert all(f'value="{one["key"]}"' in page.text for one in editions)


def test_a_long_programme_is_shown_a_hundred_heats_a_page_to_its_end(service: Service) -> None:
    hand = a_bare_meet(service)
    assert hand.organiser.post("start-lists", content=a_start_list(150)).status_code == 200
    base = f"/meets/{hand.id}/organiser"
    assert "150 heats" in hand.organiser.get(base, headers=PAGE).text
    first = hand.organiser.get(f"{base}/start-lists", headers=PAGE).text
    onwards = re.search(r'href="([^"]*\?after=\d+)"', first)
    assert onwards is not None
    second = hand.organiser.get(onwards[1], headers=PAGE).text
    shown = [re.findall(r'id="(heat-[^"]+)"', page) for page in (first, second)]
    assert [len(page) for page in shown] == [100, 50]
    assert not set(shown[0]) & set(shown[1])
    assert not re.search(r'\?after=\d+"', second)
    assert f'href="{base}/start-lists">From the first heat' in second


def test_posts_of_one_relay_are_drawn_for_it_alone_under_the_same_number(meet: MeetAtHand) -> None:
    rows = ["official,take_over,edge,lanes,relays", "umpire,1,start,3-4,4x400", "second,2,end,5,"]
    etag = meet.organiser.get("crew").headers["ETag"]
    loaded = meet.organiser.post("crew-list", content="\n".join(rows), etag=etag)
    assert loaded.status_code == 200, loaded.text
    told = meet.organiser.get(f"/meets/{meet.id}/organiser/crew", headers=PAGE).text
    drawn = {
        relay: re.findall(r'plan-number"[^>]*>(\d+)<', picture)
        for relay, picture in re.findall(r">(4x\d+) on the track<(.*?)</svg>", told, re.DOTALL)
    }
    assert drawn == {"4x100": ["2"], "4x400": ["1", "2"]}


def test_rehearsals_are_offered_for_the_relays_of_the_programme_first(meet: MeetAtHand) -> None:
    four_laps = a_start_list(1, "Women 4x400 m")
    assert meet.organiser.post("start-lists", content=four_laps).status_code == 200
    told = meet.organiser.get(f"/meets/{meet.id}/organiser/rehearsals", headers=PAGE).text
    offered = re.findall(r'<option value="([^"]+)"', told)
    assert set(offered[:2]) == {"4x100", "4x400"}
    assert set(offered) == {"4x100", "4x200", "4x400", "4x800", "medley"}


def test_a_rehearsal_that_goes_on_is_told_where_the_organiser_looks_first(
    meet: MeetAtHand,
) -> None:
    base = f"/meets/{meet.id}/organiser"
    assert "goes on" not in meet.organiser.get(base, headers=PAGE).text
    assert meet.organiser.put(f"rehearsals/{new_id()}", {"relay": "4x100"}).status_code == 201
    assert "1 goes on: end it before the first heat" in meet.organiser.get(base, headers=PAGE).text


def test_a_server_without_a_meet_leads_to_setting_one_up(new_database: NewDatabase) -> None:
    with a_service(new_database("sqlite")) as empty:
        told = empty.http.get("/", headers=PAGE).text
    assert 'href="/set-up"' in told


def a_plan_of_two_heats(meet: MeetAtHand) -> None:
    """One post in the first heat, and two in the second."""
    first, second = (meet.heat(0), meet.heat(1))
    posts = [
        a_post(new_id(), meet.umpire.id, heats=[first], lanes=[1, 2]),
        a_post(new_id(), meet.umpire.id, heats=[second], lanes=[3, 4]),
        a_post(new_id(), meet.umpire.id, heats=[second], lanes=[5, 6]),
    ]
    etag = meet.organiser.get("crew").headers["ETag"]
    planned = meet.organiser.put("crew", {"posts": posts}, etag=etag)
    assert planned.status_code == 200, planned.text


def numbers_and_lanes(page: str, table: str) -> list[str]:
    """What a table of posts says in its cells of numbers and of lanes."""
    body = re.search(rf'<table class="{table} .*?</table>', page, re.DOTALL)
    assert body is not None
    return re.findall(r'data-head="(?:No.|Lanes)">([^<]+)<', body[0])


def test_of_a_plan_of_single_heats_the_chosen_one_is_shown_its_posts_numbered_from_1(
    meet: MeetAtHand,
) -> None:
    a_plan_of_two_heats(meet)
    address = f"/meets/{meet.id}/organiser/crew"
    page = meet.organiser.get(f"{address}?heat={meet.heat(1)}", headers=PAGE).text
    assert numbers_and_lanes(page, "posts") == ["1", "3–4", "2", "5–6"]
    assert numbers_and_lanes(page, "all-posts") == ["1–2", "3–4", "5–6"]
    assert page.index('id="heat-pick"') < page.index('id="crew-file"') < page.index("<table")
    first = meet.organiser.get(address, headers=PAGE).text
    assert numbers_and_lanes(first, "posts") == ["1", "1–2"]


def test_a_heat_that_the_meet_does_not_have_is_refused_and_not_shown_as_if_none_was_named(
    meet: MeetAtHand, service: Service
) -> None:
    address = f"/meets/{meet.id}/organiser/crew"
    others = a_meet(service).heat(0)
    for planned in (False, True):
        if planned:
            a_plan_of_two_heats(meet)
        for heat in (new_id(), others):
            page = meet.organiser.get(f"{address}?heat={heat}", headers=PAGE)
            assert page.status_code == 404
            assert "There is no such heat at this meet." in page.text
        assert meet.organiser.get(f"{address}?heat={meet.heat(1)}", headers=PAGE).status_code == 200

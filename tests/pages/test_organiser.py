"""What the organiser's pages show, and that a meet can be set up without a session."""

from __future__ import annotations

from tests.builders import MeetAtHand

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


def test_whoever_has_the_setup_key_finds_every_edition_on_the_page_for_a_new_meet(
    meet: MeetAtHand,
) -> None:
    page = meet.service.http.get("/set-up", headers=PAGE)
    assert page.status_code == 200
    editions = meet.service.http.get("/api/editions").json()
    assert all(f'value="{one["key"]}"' in page.text for one in editions)

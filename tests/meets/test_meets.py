"""Setting up a meet over HTTP: made once, changed as seen, its edition and days checked."""

from __future__ import annotations

from typing import Any

import httpx
import pytest
from sqlalchemy import func, select

from app.ids import new_id
from app.record.tables import record_heads
from app.rules.track import Track
from tests.builders import Json, MeetAtHand, a_bare_meet, a_meet_document, a_problem, founder
from tests.running import Service


def make(service: Service, meet: str, document: Json, **headers: str) -> httpx.Response:
    sent = founder(service) | headers
    return service.http.put(f"/api/meets/{meet}", json=document, headers=sent)


def the_same_meet(hand: MeetAtHand, **changes: Any) -> Json:
    """The document that a bare meet was made with, with some changes."""
    organiser = {"id": hand.organiser.id, "name": hand.organiser.name}
    return a_meet_document(organiser=organiser, **changes)


def test_the_same_meet_sent_again_is_the_same_meet(service: Service) -> None:
    meet, document = new_id(), a_meet_document()
    first = make(service, meet, document)
    assert (first.status_code, first.headers["etag"]) == (201, '"v1"')
    again = make(service, meet, document)
    assert again.status_code == 200
    assert again.json() == first.json()


def test_another_meet_under_the_same_id_is_refused(service: Service) -> None:
    meet, document = new_id(), a_meet_document()
    make(service, meet, document)
    a_problem(make(service, meet, document | {"venue": "Elsewhere"}), 409, "id-taken")
    assert service.http.get(f"/api/meets/{meet}").json()["venue"] == "Tidewater Stadium"


def test_an_organiser_of_one_meet_is_a_new_person_at_another(service: Service) -> None:
    document = a_meet_document()
    make(service, new_id(), document)
    a_problem(make(service, new_id(), document), 409, "id-taken")


def test_a_meet_is_changed_only_as_it_was_seen(service: Service) -> None:
    hand = a_bare_meet(service)
    document = the_same_meet(hand, name="Harbour Relays, second day")
    changed = hand.organiser.put(f"/api/meets/{hand.id}", document, etag='"v1"')
    assert changed.json()["version"] == 2
    late = hand.organiser.put(f"/api/meets/{hand.id}", document, etag='"v1"')
    a_problem(late, 412, "stale")
    blind = hand.organiser.put(f"/api/meets/{hand.id}", document | {"venue": "Elsewhere"})
    a_problem(blind, 409, "id-taken")


def test_a_change_needs_not_name_the_first_official_and_a_new_meet_does(service: Service) -> None:
    hand = a_bare_meet(service)
    document = {name: told for name, told in the_same_meet(hand).items() if name != "organiser"}
    changed = hand.organiser.put(
        f"/api/meets/{hand.id}", document | {"venue": "East Mole"}, etag='"v1"'
    )
    assert (changed.status_code, changed.json()["venue"]) == (200, "East Mole")
    again = hand.organiser.put(f"/api/meets/{hand.id}", the_same_meet(hand, venue="East Mole"))
    assert again.status_code == 200  # who the first official is was kept
    told = a_problem(make(service, new_id(), document), 422, "malformed")
    assert "/organiser" in str(told)


@pytest.mark.parametrize("etag", ['"v0"', "v1", 'W/"v1"', "*", "", '"v1", "v2"', '"v99999999999"'])
def test_an_etag_that_this_server_never_gave_is_refused_as_that(
    service: Service, etag: str
) -> None:
    hand = a_bare_meet(service)
    before = hand.head()
    answer = hand.organiser.put(f"/api/meets/{hand.id}", the_same_meet(hand), etag=etag)
    told = a_problem(answer, 412, "etag-unknown")
    assert "first" not in told["title"]  # nobody was: it is a slip
    assert '"v3"' in told["detail"]
    assert hand.head() == before


def test_an_organiser_makes_no_further_meet(service: Service) -> None:
    hand = a_bare_meet(service)
    refused = hand.organiser.put(f"/api/meets/{new_id()}", a_meet_document())
    a_problem(refused, 403, "role-missing")


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"edition": "of our own"}, "/edition"),
        ({"edition": "../books/nfhs-2019"}, "/edition"),
        ({"time_zone": "Atlantis/Harbour"}, "/time_zone"),
        ({"time_zone": "../../etc/passwd"}, "/time_zone"),
        ({"time_zone": ""}, "/time_zone"),
        ({"time_zone": "Europe"}, "/time_zone"),
        # Not zones of a place: leap seconds counted in (27 s off), the server's own, none at all.
        ({"time_zone": "right/Europe/Paris"}, "/time_zone"),
        ({"time_zone": "posix/Europe/Paris"}, "/time_zone"),
        ({"time_zone": "posixrules"}, "/time_zone"),
        ({"time_zone": "localtime"}, "/time_zone"),
        ({"time_zone": "Factory"}, "/time_zone"),
        ({"name": "   "}, "/name"),
        ({"name": "x" * 121}, "/name"),
        ({"first_day": "2026-06-15"}, ""),
        ({"first_day": "2026-01-01"}, ""),
        ({"last_day": "9999-12-31"}, ""),
        ({"first_day": "1999-12-31", "last_day": "2000-01-01"}, ""),
        ({"first_day": "2026-02-30"}, "/first_day"),
        ({"track": {"lanes": 0}}, "/track/lanes"),
        ({"track": {"lanes": 11}}, "/track/lanes"),
        ({"track": {"radius_m": -1}}, "/track/radius_m"),
        ({"track": {"lane_width_m": "NaN"}}, "/track/lane_width_m"),
        ({"track": {"lane_width_m": 0.89}}, "/track/lane_width_m"),
        ({"track": {"lane_width_m": 1.51}}, "/track/lane_width_m"),
        ({"terms": {"protest_minutes": 0}}, "/terms/protest_minutes"),
        ({"terms": {"protest_minutes": 10_081}}, "/terms/protest_minutes"),
        ({"terms": {"appeal_minutes": -30}}, "/terms/appeal_minutes"),
        ({"organiser": {"id": "1", "name": "Olive"}}, "/organiser/id"),
    ],
)
def test_a_meet_that_cannot_be_is_refused_and_the_field_named(
    service: Service, changes: Json, pointer: str
) -> None:
    meet = new_id()
    told = a_problem(make(service, meet, a_meet_document(**changes)), 422, "malformed")
    assert told["errors"][0]["pointer"] == pointer
    assert service.http.get(f"/api/meets/{meet}").status_code == 404


@pytest.mark.parametrize("width", [0.9, 1.5])
def test_every_lane_that_the_rules_can_reckon_with_can_be_a_meets(
    service: Service, width: float
) -> None:
    assert Track(lane_width_m=width).lane_width_m == width
    told = make(service, new_id(), a_meet_document(track={"lane_width_m": width}))
    assert told.status_code == 201, told.text


def test_an_unknown_edition_is_answered_with_the_known_ones(service: Service) -> None:
    told = a_problem(make(service, new_id(), a_meet_document(edition="ours")), 422, "malformed")
    for edition in service.http.get("/api/editions").json():
        assert edition["key"] in told["detail"]


@pytest.mark.parametrize(
    ("edition", "first_day", "note"),
    [
        # World Athletics: the text in force from 1 November 2025 (press accounts of the change).
        ("world-athletics-2025", "2025-11-01", ""),
        ("world-athletics-2025", "2025-10-31", "2025-11-01"),
        # IAAF Competition Rules 2018-19, title page: the older text ends on 31 October 2017.
        ("older-20-plus-10", "2017-10-31", ""),
        ("older-20-plus-10", "2017-11-01", "2017-10-31"),
    ],
)
def test_a_meet_outside_the_days_of_its_edition_is_told_so_and_made(
    service: Service, edition: str, first_day: str, note: str
) -> None:
    document = a_meet_document(edition=edition, first_day=first_day, last_day=first_day)
    made = make(service, new_id(), document)
    assert made.status_code == 201
    assert note in made.json()["edition_note"]
    assert bool(made.json()["edition_note"]) == bool(note)


@pytest.mark.parametrize(
    ("track", "note"),
    [
        # Facilities manual of 2008: 36.50 m to the kerb and straights of 84.39 m are 400 m.
        ({}, ""),
        ({"radius_m": 36.6, "straight_m": 84.0}, ""),
        ({"radius_m": 30.0}, "359.16 m"),
        ({"straight_m": 100.0}, "431.22 m"),
    ],
)
def test_a_track_without_a_lap_of_400_m_is_told_so_and_stored(
    service: Service, track: Json, note: str
) -> None:
    meet = new_id()
    made = make(service, meet, a_meet_document(track=track))
    assert made.status_code == 201, made.text
    told = made.json()
    assert note in told["track_note"]
    assert bool(told["track_note"]) == bool(note)
    assert track.items() <= told["track"].items()
    assert service.http.get(f"/api/meets/{meet}").json()["track_note"] == told["track_note"]


def test_the_editions_to_choose_from_are_listed(service: Service) -> None:
    keys = [edition["key"] for edition in service.http.get("/api/editions").json()]
    for key in keys:
        assert make(service, new_id(), a_meet_document(edition=key)).status_code == 201
    assert {"world-athletics-2025", "nfhs-2019", "older-20-plus-10"} <= set(keys)


def test_names_keep_their_letters_in_normal_form(service: Service) -> None:
    # Unicode Standard Annex 15: NFC. "é" from two code points is stored as one.
    made = make(service, new_id(), a_meet_document(name=" Re\u0301gate des Relais ", venue="Łódź"))
    assert made.json()["name"] == "R\u00e9gate des Relais"
    assert made.json()["venue"] == "Łódź"


@pytest.mark.parametrize("changed", ["id", "name"])
def test_a_change_of_the_meet_never_passes_over_another_organiser(
    service: Service, changed: str
) -> None:
    hand = a_bare_meet(service)
    first = the_same_meet(hand)["organiser"]
    other = first | {changed: new_id()}
    before = hand.head()
    answer = hand.organiser.put(
        f"/api/meets/{hand.id}", a_meet_document(organiser=other), etag='"v1"'
    )
    told = a_problem(answer, 409, "conflict")
    assert told["organiser"] == first
    assert told["errors"][0]["pointer"] == "/organiser"
    assert hand.head() == before


def test_anybody_finds_every_meet_in_the_list_once_the_last_one_first(service: Service) -> None:
    made = [a_bare_meet(service, name=f"Harbour Relays {number}").id for number in range(60)]
    listed: list[Json] = []
    page: Json = {"next": ""}
    while page["next"] is not None:
        place = {"before": page["next"]} if page["next"] else {}
        page = service.http.get("/api/meets", params=place).json()
        assert 0 < len(page["meets"]) <= 50
        listed += page["meets"]
    assert len({line["id"] for line in listed}) == len(listed)
    # Other tests have made theirs on other days.
    ours = [line for line in listed if line["id"] in made]
    assert [line["id"] for line in ours] == made[::-1]
    assert ours[0] == {
        "id": made[-1],
        "name": "Harbour Relays 59",
        "first_day": "2026-06-13",
        "last_day": "2026-06-14",
    }


def test_the_setup_key_at_an_unknown_meet_leaves_nothing_behind(service: Service) -> None:
    def heads() -> int:
        return service.store.read_now(
            lambda conn: conn.execute(select(func.count()).select_from(record_heads)).scalar_one()
        )

    before = heads()
    link = f"/api/meets/{new_id()}/officials/{new_id()}/join-links/{new_id()}"
    a_problem(service.http.put(link, headers=founder(service)), 404, "not-found")
    a_problem(make(service, new_id(), a_meet_document(edition="ours")), 422, "malformed")
    assert heads() == before

"""Personal links: one device each, for a time, taken back when lost, and never burnt by a look."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import httpx
import pytest

from app.access.actions import LINK_LASTS
from app.access.joining import SESSION_LASTS
from app.ids import new_id
from tests.builders import (
    PIN,
    Json,
    MeetAtHand,
    a_bare_meet,
    a_problem,
    add_official,
    founder,
)
from tests.running import Service, workers_of


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_bare_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests; each joins people of its own."""
    return stadium


def name_official(meet: MeetAtHand, *roles: str) -> str:
    official = new_id()
    document = {"name": "Nora Newcomer", "roles": list(roles) or ["umpire"]}
    assert meet.organiser.put(f"officials/{official}", document).status_code == 201
    return official


def a_link(meet: MeetAtHand, official: str | None = None) -> Json:
    official = official or name_official(meet)
    made = meet.organiser.put(f"officials/{official}/join-links/{new_id()}")
    assert made.status_code == 201, made.text
    return dict(made.json())


def join(meet: MeetAtHand, token: str, **changes: object) -> httpx.Response:
    sent = {"token": token, "session": new_id(), "pin": PIN, **changes}
    return meet.service.http.post("/api/join", json=sent)


def who_is(meet: MeetAtHand, token: str) -> httpx.Response:
    return meet.service.http.get("/api/me", headers={"Authorization": f"Bearer {token}"})


def test_a_link_joins_one_device_and_no_second(meet: MeetAtHand) -> None:
    link = a_link(meet)
    joined = join(meet, link["token"])
    assert joined.status_code == 200
    assert who_is(meet, joined.json()["token"]).json()["official"] == link["official"]
    told = a_problem(join(meet, link["token"]), 403, "join-refused")
    assert "has been used" in told["detail"]


def test_looking_at_a_link_does_not_use_it_up(meet: MeetAtHand) -> None:
    link = a_link(meet)
    before = meet.head()
    for _ in range(3):
        seen = meet.service.http.post("/api/join/look", json={"token": link["token"]})
        assert seen.json()["name"] == "Nora Newcomer"
        assert seen.json()["meet"] == meet.id
        assert (seen.json()["has_pin"], seen.json()["is_used"]) == (False, False)
    assert meet.head() == before
    assert join(meet, link["token"]).status_code == 200


def test_a_device_that_lost_the_answer_sends_the_same_again_and_gets_the_same_answer(
    meet: MeetAtHand,
) -> None:
    link, session = a_link(meet), new_id()
    lost = join(meet, link["token"], session=session).json()
    before = meet.head()
    again = join(meet, link["token"], session=session)
    assert again.status_code == 200
    assert again.json() == lost
    assert meet.head() == before
    assert who_is(meet, again.json()["token"]).status_code == 200


def test_a_device_that_joins_many_times_at_once_gets_one_answer(meet: MeetAtHand) -> None:
    link, session = a_link(meet), new_id()
    before = meet.head()["size"]
    with ThreadPoolExecutor(8) as crowd:
        answers = list(crowd.map(lambda _: join(meet, link["token"], session=session), range(8)))
    assert [answer.status_code for answer in answers] == [200] * 8
    (token,) = {answer.json()["token"] for answer in answers}
    assert len({answer.text for answer in answers}) == 1
    assert who_is(meet, token).status_code == 200
    assert meet.head()["size"] == before + 1


def test_workers_to_whom_a_device_joins_at_once_give_one_answer(meet: MeetAtHand) -> None:
    sent = {"token": a_link(meet)["token"], "session": new_id(), "pin": PIN}
    with workers_of(meet.service) as workers, ThreadPoolExecutor(8) as crowd:
        asked = [workers[number % len(workers)] for number in range(8)]
        answers = list(crowd.map(lambda http: http.post("/api/join", json=sent), asked))
    assert [answer.status_code for answer in answers] == [200] * 8
    assert len({answer.text for answer in answers}) == 1


def test_an_expired_session_is_renewed_with_another_token(meet: MeetAtHand) -> None:
    link, session = a_link(meet), new_id()
    first = join(meet, link["token"], session=session).json()
    meet.service.clock.move(SESSION_LASTS)
    again = join(meet, link["token"], session=session).json()
    assert again["token"] != first["token"]
    assert who_is(meet, again["token"]).status_code == 200
    a_problem(who_is(meet, first["token"]), 401, "not-joined")


def test_a_used_link_gives_its_session_to_nobody_without_the_pin(meet: MeetAtHand) -> None:
    link, session = a_link(meet), new_id()
    join(meet, link["token"], session=session)
    a_problem(join(meet, link["token"], session=session, pin="593047"), 403, "pin-refused")


def test_a_session_id_serves_one_link_only(meet: MeetAtHand) -> None:
    session = new_id()
    assert join(meet, a_link(meet)["token"], session=session).status_code == 200
    a_problem(join(meet, a_link(meet)["token"], session=session), 409, "conflict")


def test_an_ended_session_is_not_opened_again_with_its_link(meet: MeetAtHand) -> None:
    link, session = a_link(meet), new_id()
    token = join(meet, link["token"], session=session).json()["token"]
    ended = meet.service.http.delete(
        "/api/me/session", headers={"Authorization": f"Bearer {token}"}
    )
    assert ended.status_code == 200
    a_problem(join(meet, link["token"], session=session), 409, "conflict")
    a_problem(join(meet, link["token"]), 403, "join-refused")


def test_a_link_expires(meet: MeetAtHand) -> None:
    last, late = a_link(meet), a_link(meet)
    meet.service.clock.move(LINK_LASTS - timedelta(minutes=1))
    assert join(meet, last["token"]).status_code == 200
    meet.service.clock.move(timedelta(minutes=2))
    told = a_problem(join(meet, late["token"]), 403, "join-refused")
    assert "expired" in told["detail"]


def test_a_session_expires(meet: MeetAtHand) -> None:
    token = join(meet, a_link(meet)["token"]).json()["token"]
    meet.service.clock.move(SESSION_LASTS - timedelta(minutes=1))
    assert who_is(meet, token).status_code == 200
    meet.service.clock.move(timedelta(minutes=2))
    a_problem(who_is(meet, token), 401, "not-joined")


def test_a_revoked_link_joins_nobody(meet: MeetAtHand) -> None:
    link = a_link(meet)
    address = f"officials/{link['official']}/join-links/{link['id']}"
    assert meet.organiser.delete(address).json()["revoked_at"]
    a_problem(join(meet, link["token"]), 403, "join-refused")
    before = meet.head()
    assert meet.organiser.delete(address).status_code == 200
    assert meet.head() == before


def test_revoking_a_link_ends_the_session_it_opened_and_no_other(meet: MeetAtHand) -> None:
    link = a_link(meet)
    first = join(meet, link["token"]).json()["token"]
    second = join(meet, a_link(meet, link["official"])["token"]).json()["token"]
    meet.organiser.delete(f"officials/{link['official']}/join-links/{link['id']}")
    a_problem(who_is(meet, first), 401, "not-joined")
    assert who_is(meet, second).status_code == 200


def test_the_link_of_an_official_who_is_inactive_is_not_good(meet: MeetAtHand) -> None:
    link = a_link(meet)
    document = {"name": "Nora Newcomer", "roles": ["umpire"], "active": False}
    assert meet.organiser.put(f"officials/{link['official']}", document, etag='"v1"').is_success
    a_problem(join(meet, link["token"]), 403, "join-refused")


def test_the_token_of_a_link_is_told_once(meet: MeetAtHand) -> None:
    link = a_link(meet)
    again = meet.organiser.put(f"officials/{link['official']}/join-links/{link['id']}")
    assert again.status_code == 200
    assert again.json()["token"] is None


@pytest.mark.parametrize("spoil", ["x{}", "{}x", "", ".", "no token at all", "\x00{}"])
def test_a_wrong_token_tells_nothing_and_uses_nothing_up(meet: MeetAtHand, spoil: str) -> None:
    link = a_link(meet)
    wrong = spoil.format(link["token"])
    for answer in (
        meet.service.http.post("/api/join/look", json={"token": wrong}),
        join(meet, wrong),
    ):
        told = a_problem(answer, 403, "join-refused")
        assert link["id"] not in told["detail"]
    assert join(meet, link["token"]).status_code == 200


def test_a_link_that_never_was_is_refused_like_a_wrong_one(meet: MeetAtHand) -> None:
    known = join(meet, f"{a_link(meet)['id']}.guess").json()
    unknown = join(meet, f"{new_id()}.guess").json()
    assert known["detail"] == unknown["detail"]
    assert known["status"] == unknown["status"]


def test_whoever_knows_only_a_links_id_slows_nobody_who_holds_the_link(meet: MeetAtHand) -> None:
    link = a_link(meet)
    for _ in range(12):
        a_problem(join(meet, f"{link['id']}.guess"), 403, "join-refused")
    assert join(meet, link["token"]).status_code == 200


def look(meet: MeetAtHand, link: Json) -> httpx.Response:
    return meet.service.http.post("/api/join/look", json={"token": link["token"]})


def test_a_link_that_was_taken_back_or_has_expired_tells_nobody_whose_it_was(
    meet: MeetAtHand,
) -> None:
    taken, old, of_inactive = a_link(meet), a_link(meet), a_link(meet)
    meet.organiser.delete(f"officials/{taken['official']}/join-links/{taken['id']}")
    deactivate(meet, of_inactive["official"])
    for link in (taken, of_inactive):
        assert "taken back" in a_problem(look(meet, link), 403, "join-refused")["detail"]
    assert look(meet, old).status_code == 200
    meet.service.clock.move(LINK_LASTS)
    assert "expired" in a_problem(look(meet, old), 403, "join-refused")["detail"]


def test_a_used_link_still_tells_whose_it_is(meet: MeetAtHand) -> None:
    link = a_link(meet)
    join(meet, link["token"])
    assert look(meet, link).json()["has_pin"] is True


def test_a_used_link_says_that_it_was_used_and_tells_no_pin(meet: MeetAtHand) -> None:
    link = a_link(meet)
    join(meet, link["token"])
    seen = look(meet, link).json()
    assert seen["is_used"] is True
    assert set(seen) == {"meet", "meet_name", "official", "name", "roles", "has_pin", "is_used"}
    # A fresh link of the same official is not used, though they have a PIN.
    address = f"officials/{link['official']}/join-links/{new_id()}"
    fresh = look(meet, meet.organiser.put(address).json()).json()
    assert (fresh["has_pin"], fresh["is_used"]) == (True, False)


def test_an_inactive_official_gets_no_link(meet: MeetAtHand) -> None:
    link = a_link(meet)
    deactivate(meet, link["official"])
    before = meet.head()
    address = f"officials/{link['official']}/join-links"
    told = a_problem(meet.organiser.put(f"{address}/{new_id()}"), 409, "conflict")
    assert "Nora Newcomer is inactive" in told["detail"]
    assert meet.head() == before
    assert meet.organiser.put(f"{address}/{link['id']}").status_code == 200


def deactivate(meet: MeetAtHand, official: str) -> None:
    document = {"name": "Nora Newcomer", "roles": ["umpire"], "active": False}
    assert meet.organiser.put(f"officials/{official}", document, etag='"v1"').is_success


def test_the_first_organiser_joins_with_a_link_from_the_setup_key(meet: MeetAtHand) -> None:
    address = f"/api/meets/{meet.id}/officials/{meet.organiser.id}/join-links/{new_id()}"
    link = meet.service.http.put(address, headers=founder(meet.service))
    assert link.status_code == 201
    joined = join(meet, link.json()["token"])
    assert joined.json()["roles"] == ["organiser"]


def test_an_official_works_with_two_devices_at_a_time(meet: MeetAtHand) -> None:
    person = add_official(meet, "two phones", "umpire")
    other = join(meet, a_link(meet, person.id)["token"]).json()
    assert who_is(meet, other["token"]).status_code == 200
    assert person.get("/api/me").status_code == 200
    assert other["session"] != person.get("/api/me").json()["session"]


def test_a_used_link_does_not_tell_right_pins_from_wrong_ones(service: Service) -> None:
    hand = a_bare_meet(service)
    official = new_id()
    named = {"name": "Bo Halyard", "affiliation": "", "roles": ["umpire"]}
    hand.organiser.put(f"officials/{official}", named)
    token = hand.organiser.put(f"officials/{official}/join-links/{new_id()}").json()["token"]
    first = {"token": token, "session": new_id(), "pin": PIN}
    assert service.http.post("/api/join", json=first).status_code == 200
    before = hand.head()
    others = [
        service.http.post("/api/join", json=first | {"session": new_id(), "pin": pin})
        for pin in (PIN, "714582")
    ]
    told = [a_problem(answer, 403, "join-refused")["detail"] for answer in others]
    assert told[0] == told[1]
    assert hand.head() == before

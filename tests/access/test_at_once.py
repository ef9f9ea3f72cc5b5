"""Whatever changes about an official counts with the very next thing they do: by token or cookie,
on the short way, on a page, and on a feed that was open before; in every process.

(OWASP ASVS 5.0.0: 7.4.2, 8.3.2.)
"""

from __future__ import annotations

import json

import pytest

from app.ids import new_id
from tests.builders import Json, MeetAtHand, Person, a_meet, a_problem, a_report, add_official
from tests.pages.test_security import with_cookie
from tests.record.test_feed import following
from tests.running import Service, workers_of

PLAIN = "application/json"
THE_OTHER_WAY = "application/json; charset=utf-8"


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests; each changes somebody of its own."""
    return stadium


def change(meet: MeetAtHand, person: Person, **changes: object) -> None:
    seen = meet.organiser.get(f"officials/{person.id}")
    kept: Json = {name: seen.json()[name] for name in ("name", "affiliation", "roles", "active")}
    path = f"officials/{person.id}"
    answer = meet.organiser.put(path, kept | changes, etag=seen.headers["ETag"])
    assert answer.status_code == 200, answer.text


def reporting(meet: MeetAtHand, person: Person, kind: str) -> int:
    sent = json.dumps(a_report(meet.heat(), None, take_over=1, lane=5))
    headers = {"Content-Type": kind}
    answer = person.put(f"reports/{new_id()}", content=sent, headers=headers)
    return answer.status_code


@pytest.mark.parametrize("kind", [PLAIN, THE_OTHER_WAY])
@pytest.mark.parametrize(
    ("changes", "status"), [({"roles": ["results"]}, 403), ({"active": False}, 401)]
)
def test_no_report_goes_either_way_once_the_role_is_gone(
    meet: MeetAtHand, kind: str, changes: Json, status: int
) -> None:
    person = add_official(meet, f"umpire {new_id()}", "umpire")
    assert reporting(meet, person, kind) == 201
    change(meet, person, **changes)
    before = meet.head()
    assert reporting(meet, person, kind) == status
    assert meet.head() == before


def test_a_cookie_opens_no_page_and_does_nothing_once_the_role_is_gone(meet: MeetAtHand) -> None:
    person = add_official(meet, "deputy", "referee")
    page, act = f"/meets/{meet.id}/head", f"/api/meets/{meet.id}/heat-now"
    headers = with_cookie(person, **{"Sec-Fetch-Site": "same-origin"})
    assert meet.service.http.get(page, headers=headers).status_code == 200
    change(meet, person, roles=["umpire"])
    a_problem(meet.service.http.get(page, headers=headers), 403, "role-missing")
    answer = meet.service.http.put(act, json={"heat": meet.heat()}, headers=headers)
    a_problem(answer, 403, "role-missing")


def test_an_open_feed_shows_nothing_more_of_a_role_that_is_gone(meet: MeetAtHand) -> None:
    person = add_official(meet, "second referee", "referee")
    with following(person) as events:
        first = meet.report(lane=6)["id"]
        assert json.loads(next(events)["data"])["subject"] == first
        change(meet, person, roles=["results"])
        unseen = meet.report(lane=7)["id"]
        meet.start()
        seen = [json.loads(next(events)["data"])]
        while seen[-1]["kind"] != "heat started":
            seen.append(json.loads(next(events)["data"]))
    assert unseen not in {one["subject"] for one in seen}


def test_a_role_is_gone_in_every_process_at_once(meet: MeetAtHand) -> None:
    with workers_of(meet.service) as workers:
        person = add_official(meet, "third referee", "referee")
        path = f"/api/meets/{meet.id}/docket"
        headers = {"Authorization": f"Bearer {person.token}"}
        assert {one.get(path, headers=headers).status_code for one in workers} == {200}
        change(meet, person, roles=["umpire"])
        assert {one.get(path, headers=headers).status_code for one in workers} == {403}


def test_a_link_that_was_taken_back_joins_nobody_and_a_look_at_it_used_nothing_up(
    meet: MeetAtHand,
) -> None:
    """A messenger fetches what is sent by it, by GET or HEAD: the page, without what is behind `#`,
    which no client sends (RFC 9110, 4.2.5).
    """
    official, link = add_official(meet, "newcomer", "umpire").id, new_id()
    token = meet.organiser.put(f"officials/{official}/join-links/{link}").json()["token"]
    before = meet.head()
    for method in ("GET", "HEAD"):
        looked = meet.service.http.request(method, f"/join#{token}")
        assert looked.status_code == 200
        assert token not in looked.text
        assert "set-cookie" not in looked.headers
        assert meet.service.http.request(method, "/api/join").status_code == 405
    assert meet.head() == before
    assert meet.organiser.delete(f"officials/{official}/join-links/{link}").status_code == 200
    sent = {"token": token, "session": new_id(), "pin": "480213"}
    headers = {"Sec-Fetch-Site": "same-origin"}
    for path in ("/join", "/api/join"):
        answer = meet.service.http.post(path, json=sent, headers=headers)
        a_problem(answer, 403, "join-refused")
        assert "set-cookie" not in answer.headers

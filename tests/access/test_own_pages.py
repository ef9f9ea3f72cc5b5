"""No browser acts for its owner because another site told it to: every route that is not safe.

A cookie goes along with what another site makes a browser send, so each such route either takes no
cookie at all, or looks where the request came from. Those of a meet are walked in
`tests/pages/test_security.py`; here are all others, and what is let in.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from app.access.cookies import cookie_name
from app.access.who_may import ROUTES
from app.ids import new_id
from app.server import declared_routes
from tests.builders import PIN, MeetAtHand, Person, a_meet, a_problem, a_report
from tests.conftest import NewDatabase
from tests.pages.test_security import FOREIGN, UNSAFE, with_cookie
from tests.running import Service, a_service

OUTSIDE_A_MEET = {
    ("DELETE", "/api/me/session"),
    ("POST", "/api/join"),
    ("POST", "/api/join/look"),
    ("POST", "/join"),
}
OWN = (
    {"Sec-Fetch-Site": "same-origin"},
    {"Sec-Fetch-Site": "same-origin", "Origin": "https://elsewhere.test"},
    {"Origin": "http://relays.test:8480", "Host": "relays.test:8480"},
)


@pytest.fixture(scope="module")
def running_service(new_database: NewDatabase) -> Iterator[Service]:
    """On one engine: where a request came from is asked before the database is."""
    with a_service(new_database("sqlite")) as service:
        yield service


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests: nearly all that is sent is refused."""
    return stadium


def a_link(meet: MeetAtHand) -> str:
    path = f"officials/{meet.umpire.id}/join-links/{new_id()}"
    return str(meet.organiser.put(path).json()["token"])


def reporting(meet: MeetAtHand, person: Person, **headers: str) -> int:
    sent = a_report(meet.heat(), meet.posts["umpire"])
    path = f"/api/meets/{meet.id}/reports/{new_id()}"
    return meet.service.http.put(
        path, json=sent, headers=with_cookie(person, **headers)
    ).status_code


def test_every_route_that_is_not_safe_is_walked_here_or_with_the_pages() -> None:
    unsafe = {(method, path) for method, path in declared_routes() if method != "GET"}
    assert unsafe == ROUTES.keys() & unsafe == {*UNSAFE, *OUTSIDE_A_MEET}


@pytest.mark.parametrize("came", FOREIGN)
def test_no_other_site_signs_a_browser_in_as_somebody(
    meet: MeetAtHand, came: dict[str, str]
) -> None:
    """Whoever is signed in unasked reports under a name that is not theirs."""
    link, before = a_link(meet), meet.head()
    sent = {"token": link, "session": new_id(), "pin": PIN}
    answer = meet.service.http.post("/join", json=sent, headers=came)
    a_problem(answer, 403, "cross-site")
    assert "set-cookie" not in answer.headers
    assert meet.head() == before


@pytest.mark.parametrize("path", ["/api/join", "/api/join/look"])
def test_what_programs_join_by_gives_no_cookie_and_takes_no_form(
    meet: MeetAtHand, path: str
) -> None:
    """A form of another site has three content types (Fetch, CORS-safelisted), none JSON."""
    sent = {"token": a_link(meet), "session": new_id(), "pin": PIN}
    sent = sent if path == "/api/join" else {"token": sent["token"]}
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data"):
        headers = {"Content-Type": kind, "Sec-Fetch-Site": "cross-site"}
        answer = meet.service.http.post(path, content="{}", headers=headers)
        assert answer.status_code in {415, 422}
    taken = meet.service.http.post(path, json=sent)
    assert taken.status_code == 200
    assert "set-cookie" not in taken.headers


def test_a_session_outside_its_meets_addresses_is_no_cookies(meet: MeetAtHand) -> None:
    cookie = with_cookie(meet.umpire, **{"Sec-Fetch-Site": "same-origin"})
    a_problem(meet.service.http.delete("/api/me/session", headers=cookie), 401, "not-joined")
    a_problem(meet.service.http.get("/api/me", headers=cookie), 401, "not-joined")
    assert meet.umpire.get("/api/me").status_code == 200


@pytest.mark.parametrize("came", OWN)
def test_a_page_of_this_server_is_let_in_by_where_it_came_from(
    meet: MeetAtHand, came: dict[str, str]
) -> None:
    assert reporting(meet, meet.umpire, **came) == 201


def test_the_cookie_of_plain_http_opens_nothing_where_phones_come_by_https(
    meet: MeetAtHand,
) -> None:
    """Whoever is on the wireless network could have set it: `__Host-` they cannot (RFC 6265bis)."""
    plain = f"{cookie_name(meet.id, secure=False)}={meet.umpire.token}"
    answer = meet.service.http.get(f"/meets/{meet.id}/zone", headers={"Cookie": plain})
    assert answer.status_code == 401

"""Who may call what: every declared route × every kind of caller, from the one table WHO_MAY.

What the table itself must say stands in `test_who_may.py`; here the running service is held
against it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import httpx
import pytest

from app.access.who_may import WHO_MAY, Who
from app.ids import new_id
from app.roles import Role
from tests.builders import MeetAtHand, a_meet, a_problem, add_official
from tests.running import SETUP_KEY, Service

PARAMETER = re.compile(r"{(\w+)}")
# Last, since it ends the session that all other requests are sent with.
LEAVE = ("DELETE", "/api/me/session")
ROUTES = sorted(WHO_MAY, key=lambda route: route == LEAVE)


@dataclass(frozen=True, slots=True)
class Visitor:
    """Somebody who knocks at every route."""

    token: str | None
    roles: frozenset[Role] = frozenset()
    at_this_meet: bool = True
    founder: bool = False


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture(scope="module")
def other_stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


def knock(
    hand: MeetAtHand, visitor: Visitor, route: tuple[str, str]
) -> tuple[int, httpx.Response | None]:
    """Call a route with ids of nothing; a stream that opened is left again."""
    method, template = route
    path = PARAMETER.sub(lambda name: hand.id if name[1] == "meet" else new_id(), template)
    headers = {} if visitor.token is None else {"Authorization": f"Bearer {visitor.token}"}
    with hand.service.http.stream(method, path, headers=headers) as answer:
        if answer.status_code == 200 and template.endswith("/feed"):
            return 200, None
        answer.read()
        return answer.status_code, answer


def may(who: Who, visitor: Visitor, template: str) -> bool:
    if who.public or (visitor.founder and who.founder):
        return True
    if "{meet}" in template and not visitor.at_this_meet:
        return False
    return not who.roles.isdisjoint(visitor.roles)


def insist(hand: MeetAtHand, visitor: Visitor) -> None:
    """Knock at every route and hold each answer against the table."""
    for route in ROUTES:
        status, answer = knock(hand, visitor, route)
        if may(WHO_MAY[route], visitor, route[1]):
            assert status != 401, route
            assert status != 403 or answer is None or "role-missing" not in answer.text, route
        elif visitor.roles:
            assert answer is not None, route
            a_problem(answer, 403, "role-missing")
        else:
            assert answer is not None, route
            a_problem(answer, 401, "not-joined")
            assert answer.headers["www-authenticate"] == "Bearer"


@pytest.mark.parametrize("role", list(Role))
def test_each_role_gets_through_to_its_routes_and_to_no_others(
    stadium: MeetAtHand, service: Service, role: Role
) -> None:
    person = add_official(stadium, f"one {role}", role)
    insist(stadium, Visitor(person.token, frozenset({role})))


def test_whoever_holds_two_roles_may_what_either_may(stadium: MeetAtHand, service: Service) -> None:
    roles = (Role.UMPIRE, Role.RESULTS)
    person = add_official(stadium, "two roles", *roles)
    insist(stadium, Visitor(person.token, frozenset(roles)))


@pytest.mark.parametrize("token", [None, "unknown", "x" * 5000])
def test_nobody_gets_further_than_the_public_routes_without_a_session(
    stadium: MeetAtHand, service: Service, token: str | None
) -> None:
    insist(stadium, Visitor(token))


def test_the_setup_key_makes_meets_and_links_and_nothing_else(
    stadium: MeetAtHand, service: Service
) -> None:
    insist(stadium, Visitor(SETUP_KEY, founder=True))


@pytest.mark.parametrize("role", list(Role))
def test_a_session_of_another_meet_opens_nothing_here(
    stadium: MeetAtHand, other_stadium: MeetAtHand, service: Service, role: Role
) -> None:
    person = add_official(other_stadium, f"guest {role}", role)
    insist(stadium, Visitor(person.token, frozenset({role}), at_this_meet=False))


def test_a_session_that_was_ended_opens_nothing(stadium: MeetAtHand, service: Service) -> None:
    person = add_official(stadium, "leaver", *Role)
    assert person.delete("/api/me/session").status_code == 200
    insist(stadium, Visitor(person.token))


def test_knocking_at_every_door_stores_nothing(stadium: MeetAtHand, service: Service) -> None:
    person = add_official(stadium, "knocker", *Role)
    before = stadium.head()
    visitor = Visitor(person.token, frozenset(Role))
    for route in ROUTES:
        if route != LEAVE:
            knock(stadium, visitor, route)
    assert stadium.head() == before


@pytest.mark.parametrize(("scheme", "status"), [("bearer", 200), ("Basic", 401), ("Token", 401)])
def test_the_session_comes_as_a_bearer_token_only(
    stadium: MeetAtHand, service: Service, scheme: str, status: int
) -> None:
    # RFC 9110 11.1: the scheme's name is without regard to case.
    headers = {"Authorization": f"{scheme} {stadium.referee.token}"}
    assert service.http.get("/api/me", headers=headers).status_code == status


def test_a_token_in_the_address_is_no_session(stadium: MeetAtHand, service: Service) -> None:
    answer = service.http.get("/api/me", params={"token": stadium.referee.token})
    a_problem(answer, 401, "not-joined")

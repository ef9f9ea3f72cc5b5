"""What no page may do, and nobody may do through one.

Cross-site posts are refused by Fetch Metadata (W3C), else by Origin (RFC 6454): OWASP's cheat sheet
on cross-site request forgery has both.
"""

from __future__ import annotations

import re

import httpx
import pytest

from app.access.cookies import cookie_name
from app.access.who_may import ROUTES, WHO_OPENS
from app.ids import new_id
from app.pages.assets import address, assets
from app.pages.security import HEADERS
from tests.builders import PIN, ROLES, MeetAtHand, Person, a_meet, a_problem
from tests.running import PUBLIC_URL, Service

PAGES = sorted(path for method, path in WHO_OPENS if method == "GET")
UNSAFE = sorted(
    (method, path)
    for (method, path), who in ROUTES.items()
    if method != "GET" and "{meet}" in path and not who.public
)
FOREIGN = (
    {"Sec-Fetch-Site": "cross-site"},
    {"Sec-Fetch-Site": "same-site"},
    {"Sec-Fetch-Site": "none"},
    {"Origin": "https://elsewhere.test"},
    {"Origin": "null"},
    {"Sec-Fetch-Site": "cross-site", "Origin": PUBLIC_URL},
    {},
)
HANDLER = re.compile(r"<[^>]*\s(on\w+|style)\s*=", re.IGNORECASE)


def filled(path: str, meet: str) -> str:
    """The address of a page with ids that nothing has, but for the meet's and a file's."""
    if path.startswith("/assets/"):
        return address("base.css")
    return re.sub(r"\{\w+\}", lambda _found: new_id(), path.replace("{meet}", meet))


def with_cookie(person: Person, **more: str) -> dict[str, str]:
    return {"Cookie": f"{cookie_name(person.meet, secure=True)}={person.token}", **more}


def opened(meet: MeetAtHand, path: str, headers: dict[str, str]) -> httpx.Response:
    asks = {"Accept": "text/html", **headers}
    return meet.service.http.get(filled(path, meet.id), headers=asks)


@pytest.mark.parametrize("path", PAGES)
def test_each_page_opens_for_its_roles_alone(meet: MeetAtHand, path: str) -> None:
    who = WHO_OPENS["GET", path]
    without = opened(meet, path, {})
    assert without.status_code in ({200, 404} if who.public else {401}), without.text
    for role in ROLES:
        answer = opened(meet, path, with_cookie(meet[role]))
        may = who.public or role in who.roles
        assert answer.status_code in ({200, 303, 404} if may else {403}), (role, answer.text)
        for name, value in HEADERS.items():
            if answer.status_code != 303:
                assert answer.headers[name] == value, (role, name)


@pytest.mark.parametrize("path", PAGES)
def test_no_page_holds_anything_inline(meet: MeetAtHand, path: str) -> None:
    for role in ROLES:
        answer = opened(meet, path, with_cookie(meet[role]))
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue
        assert HANDLER.search(answer.text) is None, answer.text
        assert "<style" not in answer.text
        for script in re.findall(r"<script[^>]*>", answer.text):
            assert "src=" in script or 'type="application/json"' in script, script


def test_every_file_of_the_pages_is_told_the_same_policy(service: Service) -> None:
    for name in assets():
        answer = service.http.get(address(name))
        assert answer.status_code == 200
        assert {one: answer.headers[one] for one in HEADERS} == HEADERS


@pytest.mark.parametrize(
    "name", ["../security.py", "..%2Fsecurity.py", "js/../../security.py", "%2e%2e/wording.py"]
)
def test_no_address_leads_out_of_the_folder(service: Service, name: str) -> None:
    answer = service.http.get(f"/assets/x/{name}")
    assert answer.status_code == 404
    assert "POLICY" not in answer.text


@pytest.mark.parametrize(("method", "path"), UNSAFE)
def test_nothing_is_changed_by_what_another_site_sends(
    meet: MeetAtHand, method: str, path: str
) -> None:
    sender = next(meet[role] for role in ROLES if role in ROUTES[method, path].roles)
    before, target = meet.head(), filled(path, meet.id)
    for came in FOREIGN:
        headers = with_cookie(sender, **{"Content-Type": "application/json", **came})
        answer = meet.service.http.request(method, target, headers=headers, content="{}")
        a_problem(answer, 403, "cross-site")
    assert meet.head() == before


def test_a_cookie_of_another_meet_opens_nothing_here(meet: MeetAtHand, service: Service) -> None:
    other = a_meet(service, roles=("referee",), umpires=())
    own_name = f"{cookie_name(meet.id, secure=True)}={other.referee.token}"
    for cookie in (with_cookie(other.referee)["Cookie"], own_name):
        answer = opened(meet, "/meets/{meet}/start", {"Cookie": cookie})
        assert answer.status_code == (401 if cookie != own_name else 403)


def test_signing_off_ends_the_session_and_takes_the_cookie(meet: MeetAtHand) -> None:
    leaver = meet.desk
    headers = with_cookie(leaver, **{"Sec-Fetch-Site": "same-origin"})
    answer = meet.service.http.post(f"/meets/{meet.id}/leave", headers=headers)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/meets/{meet.id}")
    told = answer.headers["set-cookie"]
    assert told.startswith(f'{cookie_name(meet.id, secure=True)}=""')
    for part in ("Max-Age=0", "Secure", "HttpOnly", "Path=/", "SameSite=lax"):
        assert part in told
    a_problem(leaver.get("/api/me"), 401, "not-joined")


def test_a_language_that_is_none_of_ours_is_neither_kept_nor_shown(service: Service) -> None:
    # Each without what was kept before: the service's own client keeps cookies for all tests.
    answer = httpx.get(service.address, params={"language": 'x"><b>'})
    assert answer.status_code == 200
    assert "set-cookie" not in answer.headers
    assert "<b>" not in answer.text
    kept = httpx.get(service.address, params={"language": "de"}).headers["set-cookie"]
    assert kept.startswith("language=de;")
    assert "HttpOnly" in kept


@pytest.mark.parametrize("path", ["//elsewhere.test/x", "///elsewhere.test", "/%2F/elsewhere.test"])
def test_no_page_leads_to_another_host_whatever_its_address_was(
    service: Service, path: str
) -> None:
    """A reference that begins with two slashes names a host (RFC 3986, 4.2)."""
    answer = httpx.get(f"{service.address}{path}", headers={"Accept": "text/html"})
    assert (answer.status_code, answer.is_redirect) == (404, False)
    leads = re.findall(r'(?:href|src|action)="([^"]*)"', answer.text)
    assert len(leads) > 4
    assert [one for one in leads if not re.match(r"/[^/]|/$|#|\?", one)] == []


def test_joining_gives_a_session_that_only_this_host_gets_and_no_script_reads(
    meet: MeetAtHand,
) -> None:
    link = meet.organiser.put(f"officials/{meet.umpire.id}/join-links/{new_id()}").json()["token"]
    answer = meet.service.http.post(
        "/join",
        json={"token": link, "session": new_id(), "pin": PIN},
        headers={"Sec-Fetch-Site": "same-origin"},
    )
    assert answer.status_code == 200, answer.text
    assert "token" not in answer.json()
    name, *told = answer.headers["set-cookie"].split("; ")
    assert name.startswith(f"__Host-session-{meet.id}=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=lax"} < set(told)
    assert not any(part.startswith("Domain") for part in told)


def test_a_form_that_is_refused_is_answered_with_a_page(meet: MeetAtHand) -> None:
    asks = {"Accept": "text/html", "Sec-Fetch-Site": "same-origin"}
    answer = meet.service.http.post(f"/meets/{meet.id}/leave", headers=asks)
    assert answer.status_code == 401
    assert answer.headers["content-type"].startswith("text/html")


def test_head_answers_like_get_without_the_page(meet: MeetAtHand) -> None:
    for path in ("/", "/join", f"/meets/{meet.id}"):
        got, asked = meet.service.http.get(path), meet.service.http.head(path)
        assert (asked.status_code, asked.content) == (200, b"")
        assert asked.headers["etag"] == got.headers["etag"]

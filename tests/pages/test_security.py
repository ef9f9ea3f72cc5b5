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
from app.browsers import HEADERS
from app.ids import new_id
from app.pages.assets import address, assets
from tests.browser.everything import NO_PAGES, WholeMeet, a_whole_meet, addresses_of
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
LEADS_ON = {"/meets/{meet}/start"}
OF_SOMETHING = re.compile(r"/meets/\{meet\}/.*\{\w+\}.*")
HANDLER = re.compile(r"<[^>]*\s(on\w+|style)\s*=", re.IGNORECASE)


def filled(path: str, meet: str) -> str:
    """The address of a route with ids that nothing has, but for the meet's."""
    return re.sub(r"\{\w+\}", lambda _found: new_id(), path.replace("{meet}", meet))


@pytest.fixture(scope="module")
def whole(running_service: Service) -> WholeMeet:
    """A meet that has something for every page to be about."""
    return a_whole_meet(running_service)


def with_cookie(person: Person, **more: str) -> dict[str, str]:
    return {"Cookie": f"{cookie_name(person.meet, secure=True)}={person.token}", **more}


def opened(meet: MeetAtHand, target: str, who: Person | None = None) -> httpx.Response:
    """What somebody's browser is answered."""
    headers = {"Accept": "text/html"} | (with_cookie(who) if who else {})
    return meet.service.http.get(target, headers=headers)


def every(path: str, whole: WholeMeet) -> list[str]:
    """Each address at which a page of this path is."""
    if path.startswith("/assets/"):
        return [address("base.css")]
    return list(addresses_of(path, whole))


def may_open(role: str, path: str, target: str, whole: WholeMeet) -> bool:
    """Whether officials of a role open a page; the organiser is the secretary of one appeal and
    opens no other.
    """
    if path == "/meets/{meet}/jury/{appeal}" and role == "organiser":
        return target.endswith(whole.things["appeal"][0])
    who = WHO_OPENS["GET", path]
    return who.public or role in who.roles


@pytest.mark.parametrize("path", PAGES)
def test_each_page_opens_for_its_roles_alone(whole: WholeMeet, path: str) -> None:
    who, meet = WHO_OPENS["GET", path], whole.meet
    good = 303 if path in LEADS_ON else 200
    for target in every(path, whole):
        assert opened(meet, target).status_code == (good if who.public else 401), target
        for role in ROLES:
            answer = opened(meet, target, meet[role])
            may = may_open(role, path, target, whole)
            assert answer.status_code == (good if may else 403), (role, target, answer.text)
            if answer.status_code != 303:
                assert {name: answer.headers[name] for name in HEADERS} == HEADERS, (role, target)


@pytest.mark.parametrize("path", [path for path in PAGES if OF_SOMETHING.fullmatch(path)])
def test_nothing_of_another_meet_is_on_a_page_here(
    whole: WholeMeet, meet: MeetAtHand, path: str
) -> None:
    who = WHO_OPENS["GET", path]
    for target in every(path, whole):
        here = target.replace(whole.meet.id, meet.id)
        for role in ROLES if who.public else who.roles:
            assert opened(meet, here, meet[role]).status_code == 404, (role, here)


@pytest.mark.parametrize("path", [path for path in PAGES if path not in NO_PAGES])
def test_no_page_holds_anything_inline(whole: WholeMeet, path: str) -> None:
    for target in every(path, whole):
        allowed = [role for role in ROLES if may_open(role, path, target, whole)]
        assert allowed, target
        for role in allowed:
            answer = opened(whole.meet, target, whole.meet[role])
            assert answer.status_code == 200, (role, target, answer.text)
            assert answer.headers["content-type"].startswith("text/html"), (role, target)
            assert inline_in(answer.text) == [], (role, target)


@pytest.mark.parametrize(
    "page",
    [
        '<button onclick="go()">',
        '<p class="note" style="color: red">',
        "<style>p { color: red }</style>",
        "<script>go()</script>",
        '<script type="module">go()</script>',
    ],
)
def test_what_stands_inline_would_be_found(page: str) -> None:
    assert len(inline_in(page)) == 1


def inline_in(page: str) -> list[str]:
    """What the policy would keep from running or showing."""
    found = [one[0] for one in HANDLER.finditer(page)] + re.findall(r"<style[^>]*>", page)
    scripts = re.findall(r"<script[^>]*>", page)
    return found + [
        one for one in scripts if "src=" not in one and 'type="application/json"' not in one
    ]


def test_every_file_of_the_pages_is_told_the_same_policy(service: Service) -> None:
    for name in assets():
        answer = service.http.get(address(name))
        assert answer.status_code == 200
        assert {one: answer.headers[one] for one in HEADERS} == HEADERS


@pytest.mark.parametrize(
    "name", ["../frame.py", "..%2Fframe.py", "js/../../frame.py", "%2e%2e/wording.py"]
)
def test_no_address_leads_out_of_the_folder(service: Service, name: str) -> None:
    answer = service.http.get(f"/assets/x/{name}")
    assert answer.status_code == 404
    assert "from __future__" not in answer.text


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
        headers = {"Accept": "text/html", "Cookie": cookie}
        answer = service.http.get(f"/meets/{meet.id}/start", headers=headers)
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
    assert kept.startswith("__Host-language=de;")
    assert {"HttpOnly", "Secure", "Path=/", "SameSite=lax"} < set(kept.split("; "))
    answer = httpx.get(service.address, headers={"Cookie": kept.partition(";")[0]})
    assert answer.headers["content-language"] == "de"


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

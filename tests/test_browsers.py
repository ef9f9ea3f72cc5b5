"""What every answer tells a browser not to do, whoever asked and whatever came of it.

OWASP ASVS 5.0.0: 3.2.1, 3.4.1 to 3.4.6, 4.1.1. Which directives there are: Content Security Policy
Level 3 (W3C), RFC 6797 (HSTS).
"""

from __future__ import annotations

import re
import socket
from collections.abc import Iterator

import httpx
import pytest

from app.access.who_may import ROUTES, WHO_OPENS
from app.browsers import HEADERS, ONLY_HTTPS
from app.ids import new_id
from app.pages.assets import address, assets
from app.store.store import Store
from tests.browser.everything import WholeMeet, a_whole_meet, addresses_of
from tests.builders import (
    PIN,
    ROLES,
    MeetAtHand,
    Person,
    a_bare_meet,
    a_meet,
    add_official,
    founder,
)
from tests.conftest import NewDatabase
from tests.running import Service, a_service
from tests.sendings import SENDINGS

PARAMETER = re.compile(r"{(\w+)}")
KEPT = {"/api/meets/{meet}/watch"}
"""What an umpire's phone asks for again and again, and its browser keeps to be told: the same."""
LEAVES = {("DELETE", "/api/me/session"), ("POST", "/meets/{meet}/leave")}


@pytest.fixture(scope="module")
def running_service(new_database: NewDatabase) -> Iterator[Service]:
    """On one engine: no header comes from the database."""
    with a_service(new_database("sqlite")) as service:
        yield service


@pytest.fixture(scope="module")
def whole(running_service: Service) -> WholeMeet:
    """A meet that has something for every page and every file to be about."""
    return a_whole_meet(running_service)


def insist_told(answer: httpx.Response, *, secure: bool = True) -> None:
    """Each of them once, and no other site is let in (CORS)."""
    wanted = HEADERS | (ONLY_HTTPS if secure else {})
    for name, value in wanted.items():
        assert answer.headers.get_list(name) == [value], (name, answer.request.url)
    assert secure or "strict-transport-security" not in answer.headers
    assert not [name for name in answer.headers if name.startswith("access-control-")]
    kind = answer.headers.get("content-type", "")
    assert kind or not (answer.is_stream_consumed and answer.content), answer.request.url
    assert not kind.startswith("text/") or "charset=utf-8" in kind, (kind, answer.request.url)


def knock(meet: MeetAtHand, method: str, template: str, **headers: str) -> httpx.Response:
    """An answer to whoever sends these headers, for things that are not there; of a stream, its
    head.
    """
    path = PARAMETER.sub(lambda name: meet.id if name[1] == "meet" else new_id(), template)
    with meet.service.http.stream(method, path, headers=headers) as answer:
        if not template.endswith("/feed") or answer.status_code != 200:
            answer.read()
        return answer


def test_no_answer_of_any_route_goes_without(whole: WholeMeet) -> None:
    everybody = add_official(whole.meet, "everybody", *ROLES)
    callers = [{}, {"Authorization": f"Bearer {everybody.token}"}, founder(whole.meet.service)]
    for method, path in sorted(ROUTES.keys() - LEAVES):
        for caller in callers:
            answer = knock(whole.meet, method, path, **caller)
            insist_told(answer)
            if method == "GET" and caller and not ROUTES[method, path].public:
                assert "no-store" in answer.headers["cache-control"] or path in KEPT, path
        if method == "GET":
            insist_told(knock(whole.meet, "HEAD", path))


def test_neither_a_page_nor_a_file_of_it_goes_without(whole: WholeMeet) -> None:
    meet = whole.meet
    for (method, path), who in WHO_OPENS.items():
        if method == "GET" and not path.startswith("/assets/"):
            for target in addresses_of(path, whole):
                reader = (
                    None
                    if who.public
                    else next(meet[one] for one in meet.people if one in who.roles)
                )
                answer = _opened(meet, target, reader)
                insist_told(answer)
                assert who.public or "no-store" in answer.headers["cache-control"], target
    for name in assets():
        insist_told(meet.service.http.get(address(name)))


def _opened(meet: MeetAtHand, target: str, reader: Person | None) -> httpx.Response:
    headers = {"Accept": "text/html"}
    if reader is not None:
        headers["Authorization"] = f"Bearer {reader.token}"
    return meet.service.http.get(target, headers=headers)


def test_no_answer_to_what_is_sent_goes_without_taken_or_refused(service: Service) -> None:
    """Calls and reports among them, which go the short way, and bodies that are too large, which
    the framework refuses outside of all else.
    """
    meet = a_meet(service)
    for build in SENDINGS.values():
        sending = build(meet)
        insist_told(sending.send(service.http, b"x" * (sending.largest + 1)))
        insist_told(sending.send(service.http, b"{"))
        taken = sending.send(service.http)
        assert taken.is_success
        insist_told(taken)


def test_no_paper_and_no_picture_goes_without(whole: WholeMeet) -> None:
    meet = whole.meet
    for reader, path in files_of(whole):
        answer = meet[reader].get(path)
        assert answer.status_code == 200, (path, answer.text)
        insist_told(answer)


def test_no_file_is_called_by_what_somebody_sent(whole: WholeMeet) -> None:
    """Names of files are our own: RFC 6266 needs no escaping of letters, digits and `-`."""
    names = [
        whole.meet[reader].get(path).headers.get("content-disposition", "")
        for reader, path in files_of(whole)
    ]
    told = [name for name in names if name]
    assert len(told) > 5
    for name in told:
        assert re.fullmatch(r'(inline|attachment); filename="[a-z0-9-]+\.[a-z0-9]+"', name), name


def test_what_says_to_come_from_a_proxy_changes_nothing(meet: MeetAtHand) -> None:
    """Anybody can send these; where phones reach the server is a setting."""
    claims = {"Host": "elsewhere.test", "X-Forwarded-Host": "elsewhere.test"}
    claims |= {"X-Forwarded-Proto": "http", "X-Forwarded-For": "192.0.2.1"}
    for path in ("/", "/join", f"/meets/{meet.id}", "/no-such-page", f"/api/meets/{meet.id}"):
        for accept in ("text/html", "application/json"):
            answer = meet.service.http.get(path, headers=claims | {"Accept": accept})
            insist_told(answer)
            assert "elsewhere.test" not in answer.text + str(answer.headers)


def test_a_request_is_not_sent_back_to_whoever_sent_it(meet: MeetAtHand) -> None:
    """TRACE (RFC 9110, 9.3.8) would show a page's script the cookie that it may not read."""
    for path in ("/", "/api/join", f"/meets/{meet.id}"):
        answer = meet.service.http.request("TRACE", path, headers={"X-Mine": "a secret"})
        assert answer.status_code == 405
        assert "a secret" not in answer.text


def files_of(whole: WholeMeet) -> Iterator[tuple[str, str]]:
    announcement, case = whole.things["announcement"][0], whole.things["case"][0]
    yield from (
        ("referee", f"announcements/{announcement}.{kind}") for kind in ("pdf", "csv", "txt")
    )
    yield from (("referee", f"cases/{case}/file.{kind}") for kind in ("pdf", "zip"))
    yield from (("referee", path) for path in ("record", "record.zip"))
    yield from (("referee", f"crew/{name}.pdf") for name in ("briefing-cards", "chiefs-sheet"))
    yield "referee", "windows.ics"
    report = whole.meet.case(case)["reports"][0]
    picture = f"reports/{report['id']}/pictures/{report['pictures'][0]['id']}"
    yield from (("referee", f"{picture}/{kind}") for kind in ("copy.jpg", "original"))


def test_an_error_that_nobody_foresaw_does_not_go_without(
    meet: MeetAtHand, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def fail(*_: object) -> None:
        raise ZeroDivisionError("a secret of the program")

    monkeypatch.setattr(Store, "read", fail)
    for accept in ("text/html", "application/json"):
        answer = meet.service.http.get(f"/meets/{meet.id}", headers={"Accept": accept})
        assert answer.status_code == 500
        assert "secret" not in answer.text
        insist_told(answer)


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"no http at all\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: a\r\nX: " + b"x" * 20_000 + b"\r\n\r\n", 431),
    ],
)
def test_what_is_refused_before_it_is_a_request_is_told_the_same(
    service: Service, sent: bytes, status: int
) -> None:
    host, port = service.address.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), 10) as line:
        line.sendall(sent)
        came = b"".join(iter(lambda: line.recv(65_536), b""))
    head = came.partition(b"\r\n\r\n")[0].decode()
    assert f" {status} " in head.splitlines()[0]
    told = {
        name.lower(): value
        for name, _, value in (line.partition(": ") for line in head.splitlines()[1:])
    }
    assert {name: told.get(name.lower()) for name in HEADERS} == HEADERS


def test_on_plain_http_nobody_is_told_to_come_by_https_and_cookies_are_kept_all_the_same(
    new_database: NewDatabase,
) -> None:
    """A browser keeps no Secure cookie that came by http, and RFC 6797, 7.2 forbids the header."""
    with a_service(new_database("sqlite"), public_url="") as service:
        meet = a_bare_meet(service)
        path = f"officials/{meet.organiser.id}/join-links/{new_id()}"
        link = meet.organiser.put(path).json()["token"]
        own = {"Origin": service.address}
        joined = service.http.post(
            "/join", json={"token": link, "session": new_id(), "pin": PIN}, headers=own
        )
        assert joined.status_code == 200, joined.text
        insist_told(joined, secure=False)
        chosen = service.http.get("/", params={"language": "de"})
        for kept in (joined.headers["set-cookie"], chosen.headers["set-cookie"]):
            name, *told = kept.split("; ")
            assert not name.startswith("__")
            assert "Secure" not in told
            assert {"HttpOnly", "SameSite=lax", "Path=/"} < set(told)

"""Bad input to every route that changes something: refused in words, nothing stored, and the next
good request works.

Refusals are problem documents (RFC 9457); JSON is RFC 8259, which knows no NaN; ids are RFC 9562.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.access.tries import LONGEST_WAIT
from app.access.who_may import WHO_MAY
from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_problem, with_own_heats
from tests.running import Service
from tests.sendings import DOCUMENTS, FILES, SENDINGS, Sending

PARAMETER = re.compile(r"{\w+}")
REFUSED = {400, 401, 403, 404, 405, 409, 412, 413, 415, 422, 428, 429}
WITHOUT_BODY = {"heats/{heat}/start", "heats/{heat}/hold-back", "join-links/{link}"}
NOT_READABLE: dict[str, bytes] = {
    "empty": b"",
    "cut off": b'{"name": "Nora"',
    "two documents": b"{}{}",
    "a list": b"[]",
    "null": b"null",
    "a text": b'"text"',
    "a number": b"-1e999",
    "nested": b"[" * 60_000,
    "nested and closed": b"[" * 30_000 + b"]" * 30_000,
    "many figures": b"9" * 60_000,
    "bytes": bytes(range(256)),
    "UTF-16": '{"name": "Nora"}'.encode("utf-16"),
}


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture(scope="module")
def proving_ground(running_service: Service) -> MeetAtHand:
    """Apart, since bodies changed at random also try wrong PINs."""
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return with_own_heats(stadium)


def told(answer: httpx.Response) -> Json:
    """The problem document of a refusal, whatever its kind, after a look at its form."""
    assert answer.status_code in REFUSED, (answer.status_code, answer.text)
    slug = str(answer.json()["type"]).rsplit("/", 1)[1]
    return a_problem(answer, answer.status_code, slug)


def test_every_route_that_changes_something_has_its_sending(meet: MeetAtHand) -> None:
    changing = {path for method, path in WHO_MAY if method in {"PUT", "POST"}}
    with_body = {path for path in changing if not path.endswith(tuple(WITHOUT_BODY))}
    assert len(with_body) == len(SENDINGS)
    for name, build in SENDINGS.items():
        sending = build(meet)
        assert sending.send(meet.service.http).status_code in {200, 201}, name


@pytest.mark.parametrize("spoilt", sorted(NOT_READABLE))
def test_a_body_that_is_no_document_is_refused_everywhere(meet: MeetAtHand, spoilt: str) -> None:
    for name, build in DOCUMENTS.items():
        sending = build(meet)
        before = meet.head()
        answer = sending.send(meet.service.http, NOT_READABLE[spoilt])
        assert told(answer)["status"] in {400, 422}, name
        assert meet.head() == before, name
    assert sending.send(meet.service.http).is_success


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "", "x"]
)
def test_a_document_under_another_content_type_is_refused(meet: MeetAtHand, kind: str) -> None:
    for name, build in DOCUMENTS.items():
        sending = build(meet)
        before = meet.head()
        assert told(sending.send(meet.service.http, kind=kind))["status"] in {415, 422}, name
        assert meet.head() == before, name
    assert sending.send(meet.service.http).is_success


@pytest.mark.parametrize("declared", [True, False])
def test_a_body_that_is_too_large_is_refused_everywhere(meet: MeetAtHand, declared: bool) -> None:
    for name, build in SENDINGS.items():
        sending = build(meet)
        before = meet.head()
        content = b" " * (sending.largest + 1)
        answer = (
            sending.send(meet.service.http, content)
            if declared
            else send_in_pieces(meet, sending, content)
        )
        assert a_problem(answer, 413, "too-large")["detail"].endswith("Nothing was stored."), name
        assert meet.head() == before, name
        assert sending.send(meet.service.http).is_success, name


def send_in_pieces(meet: MeetAtHand, sending: Sending, content: bytes) -> httpx.Response:
    """Chunked (RFC 9112, 7.1): no length is declared, so it is found out on the way."""

    def pieces() -> Iterator[bytes]:
        for start in range(0, len(content), 32_768):
            yield content[start : start + 32_768]

    headers = sending.headers | {"Content-Type": "application/json"}
    return meet.service.http.request(
        sending.method, sending.path, content=pieces(), headers=headers
    )


def test_a_field_nobody_knows_is_refused_and_named(meet: MeetAtHand) -> None:
    for name, build in DOCUMENTS.items():
        sending = build(meet)
        before = meet.head()
        answer = sending.changed(decider="me").send(meet.service.http)
        problem = a_problem(answer, 422, "malformed")
        assert problem["errors"][0]["pointer"] == "/decider", name
        assert meet.head() == before, name


def test_a_field_that_is_missing_is_named(meet: MeetAtHand) -> None:
    for name, build in DOCUMENTS.items():
        sending = build(meet)
        whole, before = sending.document, meet.head()
        answers = {
            field: sending.send(meet.service.http, json.dumps(without(whole, field)).encode())
            for field in sorted(whole)
            if field not in OPTIONAL
        }
        for field, answer in answers.items():
            problem = a_problem(answer, 422, "malformed")
            assert problem["errors"][0]["pointer"] == f"/{field}", (name, field)
        assert meet.head() == before, name


OPTIONAL = {
    *("venue", "affiliation", "device", "lane", "report", "post", "words", "infringement"),
    *("despite", "remark", "take_over", "reconsiders"),
}


def without(document: Json, field: str) -> Json:
    return {name: value for name, value in document.items() if name != field}


@pytest.mark.parametrize("bad", ["\\u0000", "\\u0007", "\\u001b[2J", "\\ud800", "\\udc00\\ud800"])
def test_characters_that_cannot_be_kept_are_refused_everywhere(meet: MeetAtHand, bad: str) -> None:
    for name, build in DOCUMENTS.items():
        sending = build(meet)
        before = meet.head()
        for spoilt in spoil_texts(sending, bad):
            told(sending.send(meet.service.http, spoilt))
        assert meet.head() == before, name


def spoil_texts(sending: Sending, bad: str) -> Iterator[bytes]:
    """The document with a bad character in each of its texts, and once in a field's name."""
    document = sending.document
    for field, value in document.items():
        if isinstance(value, str):
            marked = json.dumps(document | {field: f"Th{field}ere"})
            yield marked.replace(f"Th{field}ere", f"Th{bad}ere").encode()
    yield json.dumps(document | {"Thfieldere": 1}).replace("Thfieldere", f"Th{bad}ere").encode()


FIELDS: list[tuple[str, Json, str]] = [
    *(("call", {"lane": lane}, "/lane") for lane in (0, -1, 11, 2**63, 10**30, 1.5, "4", True)),
    *(("report", {"lane": lane}, "/lane") for lane in (0, -4, 11, None)),
    *(("report", {"take_over": number}, "/take_over") for number in (0, 4, -1)),
    ("report", {"heat": "1"}, "/heat"),
    ("report", {"heat": None}, "/heat"),
    ("report", {"heat": "01936f2e-7b1c-1cc3-98c4-dc0c0c07398f"}, "/heat"),  # version 1
    ("report", {"heat": "{01936f2e-7b1c-7cc3-98c4-dc0c0c07398f}"}, "/heat"),
    ("report", {"post": "' OR 1=1 --"}, "/post"),
    ("report", {"words": "x" * 4001}, "/words"),
    ("report", {"words": ["a", "list"]}, "/words"),
    ("report", {"observation": {}}, "/observation"),
    ("report", {"observation": {"seen": "nothing_at_all"}}, "/observation"),
    ("call", {"flag": "red"}, "/flag"),
    ("call", {"report": "none"}, "/report"),
    ("call", {"clock": {"at": "yesterday"}}, "/clock/at"),
    ("call", {"clock": {"at": "2026-06-13T12:00:00"}}, "/clock/at"),
    ("call", {"clock": {"at": "9999-12-31T23:59:59Z"}}, "/clock/at"),
    ("call", {"clock": {"at": "9999-12-31T23:59:59-23:59"}}, "/clock/at"),
    ("call", {"clock": {"at": "0001-01-01T00:00:00+23:59"}}, "/clock/at"),
    ("call", {"clock": {"at": 1e300}}, "/clock/at"),
    ("call", {"clock": {"at": "2026-06-13T12:00:00Z", "offset_ms": 10**20}}, "/clock/offset_ms"),
    ("call", {"clock": {"at": "2026-06-13T12:00:00Z", "error_ms": -1}}, "/clock/error_ms"),
    ("official", {"roles": []}, "/roles"),
    ("official", {"roles": ["king"]}, "/roles/0"),
    ("official", {"roles": "umpire"}, "/roles"),
    ("official", {"name": ""}, "/name"),
    ("official", {"name": "\u00a0\u2003"}, "/name"),
    ("official", {"active": "perhaps"}, "/active"),
    ("ruling", {"verdict": "guilty"}, "/verdict"),
    ("ruling", {"reasons": "."}, "/reasons"),
    ("ruling", {"infringement": "walking"}, "/infringement"),
    ("ruling", {"reconsiders": "the first"}, "/reconsiders"),
    ("ruling", {"pin": 480213}, "/pin"),
    ("announcement", {"announced_at": "9999-01-01T00:00:00Z"}, "/announced_at"),
    ("announcement", {"heat": "../../etc"}, "/heat"),
    ("joining", {"session": "mine"}, "/session"),
    ("joining", {"device": "x" * 121}, "/device"),
    ("look", {"token": "x" * 201}, "/token"),
    ("return", {"reason": "  "}, "/reason"),
    ("withdraw", {"reason": 7}, "/reason"),
    ("meet", {"first_day": "9999-12-31"}, ""),
    ("crew", {"posts": [None]}, "/posts/0"),
    ("crew", {"posts": [{}] * 501}, "/posts"),
]


@pytest.mark.parametrize(("name", "changes", "pointer"), FIELDS)
def test_a_field_out_of_bounds_is_refused_and_named(
    meet: MeetAtHand, name: str, changes: Json, pointer: str
) -> None:
    sending = DOCUMENTS[name](meet)
    before = meet.head()
    problem = a_problem(sending.changed(**changes).send(meet.service.http), 422, "malformed")
    assert problem["errors"][0]["pointer"].startswith(pointer)
    assert meet.head() == before


@pytest.mark.parametrize(
    "number", ["NaN", "Infinity", "-Infinity", "1e999", "-1e999", "61", "-60.01", "9" * 400, '"x"']
)
@pytest.mark.parametrize("field", ["metres", "uncertainty"])
def test_a_position_is_a_number_near_its_mark(meet: MeetAtHand, field: str, number: str) -> None:
    sending = DOCUMENTS["report"](meet)
    position = {"metres": 1.0, "uncertainty": 0.3} | {field: "@"}
    spoilt = sending.changed(
        observation={"seen": "pass_completed_beyond_zone", "baton": position}
    ).content.replace(b'"@"', number.encode())
    before = meet.head()
    problem = a_problem(sending.send(meet.service.http, spoilt), 422, "malformed")
    assert problem["errors"][0]["pointer"].startswith("/observation")
    assert meet.head() == before


@pytest.mark.parametrize(
    ("name", "field"),
    [
        ("call", "heat"),
        ("call", "post"),
        ("report", "heat"),
        ("report", "post"),
        ("announcement", "heat"),
        ("ruling", "reconsiders"),
    ],
)
def test_an_id_of_nothing_is_refused(meet: MeetAtHand, name: str, field: str) -> None:
    sending = DOCUMENTS[name](meet)
    before = meet.head()
    answer = sending.changed(**{field: new_id()}).send(meet.service.http)
    assert told(answer)["status"] in {404, 409}
    assert meet.head() == before


@pytest.mark.parametrize(
    "ident", ["1", "%00", "%ED%A0%80", "..%2f..", "x" * 3000, "%F0%9F%8F%83", "null", "'--", "%"]
)
def test_a_path_that_names_no_id_is_refused(meet: MeetAtHand, ident: str) -> None:
    before = meet.head()
    for method, template in sorted(WHO_MAY):
        path = PARAMETER.sub(ident, template.replace("{meet}", meet.id))
        if PARAMETER.search(template.replace("{meet}", meet.id)):
            answer = meet.organiser.send(method, path)
            assert told(answer)["status"] in {400, 403, 404, 405, 422}, (method, template)
    assert meet.head() == before


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("heats", {"after": "-1"}),
        ("heats", {"after": "first"}),
        ("heats", {"after": str(2**31)}),
        ("docket", {"after": "nowhere"}),
        ("docket", {"after": "2026-06-13T12:00:00"}),
        ("docket", {"after": "x" * 81}),
        ("docket", {"after": "0001-01-01T00:00:00+23:59~x"}),
        ("docket", {"after": "9999-12-31T23:59:59-23:59~x"}),
        ("docket", {"after": "2026-06-13T12:00:00Z~\x00"}),
        ("announcements", {"before": "nowhere"}),
        ("announcements", {"before": "2026-06-13T12:00:00"}),
        ("announcements", {"before": "0001-01-01T00:00:00+23:59~x"}),
        ("announcements", {"before": "9999-12-31T23:59:59-23:59~x"}),
        ("announcements", {"before": "2026-06-13T12:00:00Z~\x00"}),
        ("feed", {"after": "-1"}),
        ("feed", {"after": "1e3"}),
    ],
)
def test_a_query_that_makes_no_sense_is_refused(meet: MeetAtHand, path: str, query: Json) -> None:
    a_problem(meet.referee.get(path, params=query), 422, "malformed")


@pytest.mark.parametrize("name", ["meet", "official", "call", "report", "ruling", "announcement"])
def test_a_body_that_repeats_with_one_byte_changed_is_refused(meet: MeetAtHand, name: str) -> None:
    changes: dict[str, Json] = {
        "meet": {"venue": "Tidewater Stadiun"},
        "official": {"name": "Nora Newcomes"},
        "call": {"lane": 5},
        "report": {"words": "Both hands on the baton at the linf."},
        "ruling": {"reasons": "Seen clearly by the umpirf."},
        "announcement": {"despite": "No telephonf."},
    }
    sending = DOCUMENTS[name](meet)
    assert sending.send(meet.service.http).status_code == 201
    before = meet.head()
    again = sending.changed(**changes[name]).send(meet.service.http)
    a_problem(again, 409, "id-taken")
    assert meet.head() == before
    assert sending.send(meet.service.http).status_code == 200
    assert meet.head() == before


def test_unknown_addresses_and_methods_are_problems_too(meet: MeetAtHand) -> None:
    http = meet.service.http
    a_problem(http.get("/api/nothing"), 404, "not-found")
    a_problem(http.get(f"/api/meets/{meet.id}/nothing"), 404, "not-found")
    a_problem(http.patch(f"/api/meets/{meet.id}"), 405, "method-not-allowed")
    assert http.patch(f"/api/meets/{meet.id}").headers["allow"]
    a_problem(http.request("OPTIONS", "/api/join"), 405, "method-not-allowed")


def test_the_type_of_every_problem_resolves_to_its_meaning(meet: MeetAtHand) -> None:
    refusals = [
        meet.service.http.get("/api/nothing"),
        meet.service.http.patch("/api/join"),
        meet.umpire.get("docket"),
        meet.umpire.put(f"reports/{new_id()}", {}),
        meet.service.http.get("/api/me"),
    ]
    for answer in refusals:
        problem = told(answer)
        meaning = meet.service.http.get(problem["type"])
        assert meaning.status_code == 200
        assert meaning.json()["title"] == problem["title"]
        assert meaning.json()["status"] == problem["status"]


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["\ud800", "\x00", new_id(), "2026-06-13T12:00:00Z", "9" * 500]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


@given(name=st.sampled_from(sorted(DOCUMENTS)), data=st.data())
@settings(max_examples=120)
def test_whatever_stands_in_a_field_the_server_never_fails(
    proving_ground: MeetAtHand, service: Service, name: str, data: st.DataObject
) -> None:
    service.clock.move(LONGEST_WAIT)
    sending = DOCUMENTS[name](proving_ground)
    document: Any = json.loads(sending.content)
    place, key = data.draw(st.sampled_from(list(places(document))))
    place[key] = data.draw(JUNK)
    never_fails(sending.send(service.http, json.dumps(document).encode()))


def places(document: Any) -> Iterator[tuple[Any, Any]]:
    """Every place in a document where a value stands."""
    for key, value in document.items() if isinstance(document, dict) else enumerate(document):
        yield document, key
        if isinstance(value, dict | list):
            yield from places(value)


@given(name=st.sampled_from(sorted(SENDINGS)), seed=st.integers(0, 2**32))
@settings(max_examples=120)
def test_whichever_bytes_are_changed_the_server_never_fails(
    proving_ground: MeetAtHand, service: Service, name: str, seed: int
) -> None:
    service.clock.move(LONGEST_WAIT)
    sending = SENDINGS[name](proving_ground)
    chance, content = random.Random(seed), bytearray(sending.content)
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(content))
        match chance.randrange(4):
            case 0:
                content[at] = chance.randrange(256)
            case 1:
                del content[at : at + chance.randint(1, 9)]
            case 2:
                content[at:at] = chance.choice([b"\x00", b'"', b"{", b",", b"\xff", b"9" * 50])
            case _:
                content[at:at] = content[: chance.randint(1, 40)]
        content = content or bytearray(b"0")
    never_fails(sending.send(service.http, bytes(content)))


def never_fails(answer: httpx.Response) -> None:
    if not answer.is_success:
        told(answer)


def test_files_with_bad_content_are_refused_and_nothing_is_stored(meet: MeetAtHand) -> None:
    for name, build in FILES.items():
        sending = build(meet)
        before = meet.head()
        for content in (b"", b"\x00" * 50, b"\xed\xa0\x80,lane\n", b"lane\r\r\r", b",,,,\n,,,,\n"):
            a_problem(sending.send(meet.service.http, content), 422, "file-refused")
        assert meet.head() == before, name
        assert sending.send(meet.service.http).is_success

"""Bad input to every route that changes something: refused in words, nothing stored, and the next
good request works.

Refusals are problem documents (RFC 9457); JSON is RFC 8259, which knows no NaN; ids are RFC 9562.
"""

from __future__ import annotations

import gzip
import json
import re
from collections.abc import Iterator

import httpx
import pytest

from app.access.who_may import WHO_MAY
from app.ids import new_id
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service
from tests.sendings import DOCUMENTS, FILES, SENDINGS, Sending, told

WITHOUT_BODY = {
    *("heats/{heat}/start", "heats/{heat}/hold-back", "join-links/{link}", "keys/options"),
    *("rehearsals/{rehearsal}/end", "searches/{search}/take"),
}
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
    "Latin-1": '{"name": "Zoë"}'.encode("latin-1"),
    "UTF-16": '{"name": "Nora"}'.encode("utf-16"),
}


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests: what is refused leaves nothing behind."""
    return stadium


@pytest.fixture(scope="module")
def untouched(running_service: Service) -> MeetAtHand:
    """Where nothing is stored that could stand in the way of what is ready to be sent."""
    return a_meet(running_service)


@pytest.fixture(scope="module")
def prepared(untouched: MeetAtHand) -> dict[str, Sending]:
    """One of each, ready to be sent, whatever they need being there already."""
    return {name: build(untouched) for name, build in SENDINGS.items()}


@pytest.fixture
def sendings(prepared: dict[str, Sending], untouched: MeetAtHand) -> dict[str, Sending]:
    """To be refused, which leaves them ready for the next test; two are fresh and can be sent."""
    fresh = {name: DOCUMENTS[name](untouched) for name in ("report", "ruling")}
    return {**prepared, **fresh}


@pytest.fixture
def documents(sendings: dict[str, Sending]) -> dict[str, Sending]:
    """Those that carry a document."""
    return {name: sendings[name] for name in DOCUMENTS}


def test_every_route_that_changes_something_has_its_sending(meet: MeetAtHand) -> None:
    changing = {path for method, path in WHO_MAY if method in {"PUT", "POST"}}
    with_body = {path for path in changing if not path.endswith(tuple(WITHOUT_BODY))}
    assert len(with_body) == len(SENDINGS)
    for name, build in SENDINGS.items():
        sending = build(meet)
        assert sending.send(meet.service.http).status_code in {200, 201}, name


@pytest.mark.parametrize("spoilt", sorted(NOT_READABLE))
def test_a_body_that_is_no_document_is_refused_everywhere(
    untouched: MeetAtHand, documents: dict[str, Sending], spoilt: str
) -> None:
    before = untouched.head()
    for name, sending in documents.items():
        answer = sending.send(untouched.service.http, NOT_READABLE[spoilt])
        assert told(answer)["status"] in {400, 422}, name
    assert untouched.head() == before
    assert documents["report"].send(untouched.service.http).is_success


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "", "x"]
)
def test_a_document_under_another_content_type_is_refused(
    untouched: MeetAtHand, documents: dict[str, Sending], kind: str
) -> None:
    before = untouched.head()
    for name, sending in documents.items():
        assert told(sending.send(untouched.service.http, kind=kind))["status"] in {415, 422}, name
    assert untouched.head() == before
    assert documents["report"].send(untouched.service.http).is_success


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


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("coding", ["gzip", "br", "identity, gzip", "GZIP"])
def test_a_body_with_a_content_coding_is_refused_whatever_is_in_it(
    untouched: MeetAtHand, sendings: dict[str, Sending], coding: str, packed: bool
) -> None:
    """RFC 9110, 8.4 and 15.5.16; the answer names what is taken (12.5.3)."""
    before = untouched.head()
    for name, sending in sendings.items():
        content = gzip.compress(sending.content) if packed else sending.content
        answer = send_coded(untouched, sending, content, coding)
        assert "Content-Encoding" in a_problem(answer, 415, "media-type")["detail"], name
        assert answer.headers["accept-encoding"] == "identity", name
    assert untouched.head() == before


@pytest.mark.parametrize("coding", ["identity", "Identity"])
def test_a_body_that_says_it_has_no_coding_is_taken(meet: MeetAtHand, coding: str) -> None:
    """RFC 9110, 8.4.1 reserves the word; it should not be sent, and does no harm."""
    for name, build in SENDINGS.items():
        sending = build(meet)
        assert send_coded(meet, sending, sending.content, coding).is_success, name


def send_coded(meet: MeetAtHand, sending: Sending, content: bytes, coding: str) -> httpx.Response:
    headers = sending.headers | {"Content-Type": "application/json", "Content-Encoding": coding}
    return meet.service.http.request(sending.method, sending.path, content=content, headers=headers)


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        ("nested", "too deep"),
        ("nested and closed", "too deep"),
        ("many figures", "too many digits"),
        ("Latin-1", "UTF-8"),
    ],
)
def test_a_body_that_cannot_be_read_is_answered_with_what_is_wrong_with_it(
    untouched: MeetAtHand, documents: dict[str, Sending], spoilt: str, words: str
) -> None:
    for name, sending in documents.items():
        answer = sending.send(untouched.service.http, NOT_READABLE[spoilt])
        assert words in a_problem(answer, 400, "bad-request")["detail"], name


def test_a_field_nobody_knows_is_refused_and_named(
    untouched: MeetAtHand, documents: dict[str, Sending]
) -> None:
    before = untouched.head()
    for name, sending in documents.items():
        answer = sending.changed(decider="me").send(untouched.service.http)
        problem = a_problem(answer, 422, "malformed")
        assert problem["errors"][0]["pointer"] == "/decider", name
    assert untouched.head() == before


def test_a_name_that_a_document_gives_twice_is_refused_everywhere(
    untouched: MeetAtHand, documents: dict[str, Sending]
) -> None:
    # RFC 8259, section 4: names should be unique, and which one counts is left open.
    before = untouched.head()
    for name, sending in documents.items():
        for field, content in twice(sending.content):
            problem = a_problem(sending.send(untouched.service.http, content), 422, "malformed")
            assert f"“{field}” is given more than once" in problem["detail"], (name, field)
    assert untouched.head() == before
    assert documents["ruling"].send(untouched.service.http).is_success


def twice(content: bytes) -> Iterator[tuple[str, bytes]]:
    """The document with each of its names given twice, wherever it stands, in turn."""
    for found in re.finditer(rb'"(\w+)":', content):
        field, start = found[1].decode(), found.start()
        for spelled in (field, f"\\u{ord(field[0]):04x}{field[1:]}"):
            again = f'"{spelled}": null, '.encode()
            yield field, content[:start] + again + content[start:]


def test_a_field_that_is_missing_is_named(
    untouched: MeetAtHand, documents: dict[str, Sending]
) -> None:
    before = untouched.head()
    for name, sending in documents.items():
        for field in sorted(sending.document.keys() - OPTIONAL):
            lacking = json.dumps(without(sending.document, field)).encode()
            problem = a_problem(sending.send(untouched.service.http, lacking), 422, "malformed")
            assert problem["errors"][0]["pointer"] == f"/{field}", (name, field)
    assert untouched.head() == before


OPTIONAL = {
    *("venue", "affiliation", "device", "lane", "report", "post", "words", "infringement"),
    *("despite", "remark", "take_over", "reconsiders", "points", "drawn_at"),
    *("advised_at", "secretary", "substitutes", "replaced_by"),
    *("people", "template", "pins", "dropped", "seconds", "keep"),
}


def without(document: Json, field: str) -> Json:
    return {name: value for name, value in document.items() if name != field}


@pytest.mark.parametrize("bad", ["\\u0000", "\\u0007", "\\u001b[2J", "\\ud800", "\\udc00\\ud800"])
def test_characters_that_cannot_be_kept_are_refused_everywhere(
    untouched: MeetAtHand, documents: dict[str, Sending], bad: str
) -> None:
    before = untouched.head()
    for sending in documents.values():
        for spoilt in spoil_texts(sending, bad):
            told(sending.send(untouched.service.http, spoilt))
    assert untouched.head() == before


def spoil_texts(sending: Sending, bad: str) -> Iterator[bytes]:
    """The document with a bad character in each of its texts, and once in a field's name."""
    document = sending.document
    for field, value in document.items():
        if isinstance(value, str):
            marked = json.dumps(document | {field: f"Th{field}ere"})
            yield marked.replace(f"Th{field}ere", f"Th{bad}ere").encode()
    yield json.dumps(document | {"Thfieldere": 1}).replace("Thfieldere", f"Th{bad}ere").encode()


@pytest.mark.parametrize("name", ["meet", "official", "call", "report", "ruling", "announcement"])
def test_a_body_that_repeats_with_one_byte_changed_is_refused(meet: MeetAtHand, name: str) -> None:
    changes: dict[str, Json] = {
        "meet": {"venue": "Tidewater Stadiun"},
        "official": {"name": "Nora Newcomes"},
        "call": {"lane": 3},
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


@pytest.mark.parametrize("path", ["/healthz/", "/api/meets/", "/api/join/", "/api/meets/{meet}/"])
def test_an_address_with_a_slash_too_many_is_unknown_and_leads_nowhere(
    meet: MeetAtHand, path: str
) -> None:
    """An answer made from the Host header would send people wherever its sender likes."""
    address, elsewhere = path.format(meet=meet.id), {"Host": "elsewhere.example"}
    for method in ("GET", "PUT"):
        answer = meet.service.http.request(method, address, headers=elsewhere)
        a_problem(answer, 404, "not-found")
        assert "location" not in answer.headers


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


def test_files_with_bad_content_are_refused_and_nothing_is_stored(meet: MeetAtHand) -> None:
    for name, build in FILES.items():
        sending = build(meet)
        before = meet.head()
        for content in (b"", b"\x00" * 50, b"\xed\xa0\x80,lane\n", b"lane\r\r\r", b",,,,\n,,,,\n"):
            a_problem(sending.send(meet.service.http, content), 422, "file-refused")
        assert meet.head() == before, name
        assert sending.send(meet.service.http).is_success

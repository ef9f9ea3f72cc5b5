"""The short way for calls and reports: the same answers as the framework's way, only sooner.

The content type decides which way a document goes: `application/json` is what phones send, and with
a charset beside it (RFC 9110, 8.3.1: the same type) a document goes the framework's way.
"""

from __future__ import annotations

import asyncio
import json
from itertools import cycle
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.types import Message, Receive, Scope, Send

from app.ids import new_id
from app.reports.routes import HURRIED
from app.server import LARGEST_BODY
from app.short_way import ShortWay
from tests.builders import Json, MeetAtHand, a_meet, a_report
from tests.running import Service
from tests.sendings import DOCUMENTS, Sending
from tests.test_bad_bytes import JUNK, places
from tests.test_bad_fields import FIELDS
from tests.test_bad_input import NOT_READABLE

SHORT, LONG = "application/json", "application/json; charset=utf-8"
# What is made anew for each thing, wherever it stands in an answer.
OF_THE_MOMENT = {"id", "case", "report", "instance", "raised_at", "received_at", "statement_sha256"}
LANES = cycle(range(1, 9))
HURRIED_NAMES = ("call", "report")
SPELLINGS: list[tuple[str, Json]] = [
    ("report", {"take_over": True, "post": None}),
    ("report", {"take_over": 2.0, "post": None}),
    ("report", {"take_over": "2", "post": None}),
    ("report", {"lane": 4.0}),
    ("report", {"words": "  Both hands\r\non the baton.  "}),
    ("report", {"words": "e\u0301 \U0001f3c3 \u2028 \x7f"}),
    ("report", {"words": "\x85"}),
    ("report", {"observation": {"seen": "lane_infringement", "steps": True}}),
    ("report", {"observation": {"seen": "lane_infringement", "steps": 3.0}}),
    ("report", {"observation": {"seen": "lane_infringement", "steps": "3"}}),
    ("report", {"observation": {"seen": "help_given", "helped": "YES"}}),
    (
        "report",
        {"observation": {"seen": "pass_completed_beyond_zone", "baton": {"metres": 1}}},
    ),
    (
        "report",
        {
            "observation": {
                "seen": "pass_completed_beyond_zone",
                "baton": {"metres": "1.5", "uncertainty": True},
            }
        },
    ),
    ("report", {"clock": {"at": 1781352190}}),
    ("report", {"clock": {"at": 1781352190.25, "offset_ms": "-3"}}),
    ("report", {"clock": {"at": "1781352190"}}),
    ("report", {"clock": {"at": "2026-06-13 14:03:10.1234567+02:00"}}),
    ("report", {"clock": {"at": "2026-06-13T14:03:10z", "offset_ms": 1.0}}),
    ("call", {"lane": None, "report": None}),
    ("call", {"flag": "white"}),
    ("call", {"report": new_id().upper()}),
]


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


def told_both_ways(meet: MeetAtHand, name: str, content: bytes) -> None:
    """Send the same content under two fresh ids, one each way: the answers are the same."""
    answers = [
        an_answer(DOCUMENTS[name](meet).send(meet.service.http, content, kind))
        for kind in (SHORT, LONG)
    ]
    assert answers[0] == answers[1]


def an_answer(answer: httpx.Response) -> tuple[int, dict[str, str], Any]:
    """What an answer says, whichever thing it is about and whenever it was given."""
    own = {"date", "content-length", "x-request-id"}
    headers = {name: value for name, value in answer.headers.items() if name not in own}
    return answer.status_code, headers, without_the_moment(answer.json())


def without_the_moment(document: Any) -> Any:
    if isinstance(document, dict):
        return {
            name: without_the_moment(value)
            for name, value in document.items()
            if name not in OF_THE_MOMENT
        }
    return document


def content_of(meet: MeetAtHand, name: str, changes: Json) -> bytes:
    # Lane by lane, since one umpire may write only so many reports about a team in a heat.
    sending = DOCUMENTS[name](meet).changed(lane=next(LANES))
    if name == "call":  # the report that a flag raises has one id, so each way needs its own
        sending = sending.changed(report=None)
    return sending.changed(**changes).content


@pytest.mark.parametrize(("name", "changes"), SPELLINGS)
def test_however_a_document_is_spelled_both_ways_say_the_same(
    stadium: MeetAtHand, service: Service, name: str, changes: Json
) -> None:
    told_both_ways(stadium, name, content_of(stadium, name, changes))


def test_a_field_out_of_bounds_is_refused_in_the_same_words(
    stadium: MeetAtHand, service: Service
) -> None:
    for name, changes, _pointer in FIELDS:
        if name in HURRIED_NAMES:
            told_both_ways(stadium, name, content_of(stadium, name, changes))


@pytest.mark.parametrize("name", HURRIED_NAMES)
def test_what_is_no_document_is_refused_in_the_same_words(
    stadium: MeetAtHand, service: Service, name: str
) -> None:
    good = content_of(stadium, name, {})
    twice = good.replace(b'"heat"', b'"heat": "%s", "heat"' % new_id().encode())
    for content in (*NOT_READABLE.values(), good + b" ", b"\xef\xbb\xbf" + good, twice):
        told_both_ways(stadium, name, content)


@given(name=st.sampled_from(HURRIED_NAMES), data=st.data())
@settings(max_examples=80)
def test_whatever_stands_in_a_field_both_ways_say_the_same(
    stadium: MeetAtHand, service: Service, name: str, data: st.DataObject
) -> None:
    document: Any = json.loads(content_of(stadium, name, {}))
    place, key = data.draw(st.sampled_from(list(places(document))))
    place[key] = data.draw(JUNK)
    told_both_ways(stadium, name, json.dumps(document).encode())


def test_what_was_sent_one_way_is_the_same_thing_sent_the_other_way(
    stadium: MeetAtHand, service: Service
) -> None:
    for name in HURRIED_NAMES:
        sending = DOCUMENTS[name](stadium)
        assert sending.send(service.http, kind=SHORT).status_code == 201
        assert sending.send(service.http, kind=LONG).status_code == 200
        assert sending.send(service.http, kind=SHORT).status_code == 200


def test_whoever_may_not_is_refused_in_the_same_words(
    stadium: MeetAtHand, service: Service
) -> None:
    guest = a_meet(service).umpire.token
    for name in HURRIED_NAMES:
        for token in ("", "unknown", stadium.desk.token, guest):
            refused = [
                an_answer(knock(stadium, DOCUMENTS[name](stadium), token, kind))
                for kind in (SHORT, LONG)
            ]
            assert refused[0] == refused[1]
            assert refused[0][0] in {401, 403}


def knock(meet: MeetAtHand, sending: Sending, token: str, kind: str) -> httpx.Response:
    headers = {"Content-Type": kind} | ({"Authorization": f"Bearer {token}"} if token else {})
    return meet.service.http.put(sending.path, content=sending.content, headers=headers)


class Framework:
    """Stands for the framework: keeps what it was given."""

    def __init__(self) -> None:
        self.bodies: list[bytes] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        message = await receive()
        self.bodies.append(message["body"])


def a_scope(meet: MeetAtHand, path: str, body: bytes, **headers: str) -> Scope:
    given = {
        "authorization": f"Bearer {meet.umpire.token}",
        "content-type": SHORT,
        "content-length": str(len(body)),
    } | {name.replace("_", "-"): value for name, value in headers.items()}
    pairs = [(name.encode(), value.encode()) for name, value in given.items() if value]
    return {
        "type": "http",
        "method": "PUT",
        "path": path,
        "query_string": b"",
        "headers": pairs,
        "app": meet.service.app,
    }


def sent_to(way: ShortWay, scope: Scope, body: bytes) -> list[Message]:
    """What the way itself answers; nothing where the framework is to answer."""
    said: list[Message] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": body, "more_body": False}

    async def send(message: Message) -> None:
        said.append(message)

    asyncio.run(way(scope, receive, send))
    return said


def test_only_what_a_phone_sends_goes_the_short_way(stadium: MeetAtHand, service: Service) -> None:
    framework = Framework()
    way = ShortWay(framework, HURRIED, largest=LARGEST_BODY)
    body = json.dumps(a_report(stadium.heat(), stadium.posts["umpire"])).encode()
    path = f"/api/meets/{stadium.id}/reports/{new_id()}"
    others = [
        (a_scope(stadium, path, body, content_type=LONG), body),
        (a_scope(stadium, path, body, content_length=""), body),
        (a_scope(stadium, path, body, content_length=str(LARGEST_BODY + 1)), body),
        (a_scope(stadium, path, body, content_length="1" * 5_000), body),
        (a_scope(stadium, path, body, transfer_encoding="chunked"), body),
        (a_scope(stadium, path, body, if_match='"v1"'), body),
        (a_scope(stadium, path, body, authorization=f"Bearer {stadium.desk.token}"), body),
        (a_scope(stadium, path, body, authorization=""), body),
        (a_scope(stadium, path, b"{}"), b"{}"),
        (a_scope(stadium, path.upper().replace("/API/MEETS", "/api/meets"), body), body),
        (a_scope(stadium, f"{path}/", body), body),
        (a_scope(stadium, f"/under{path}", body), body),
        (a_scope(stadium, path, body) | {"method": "GET"}, body),
        (a_scope(stadium, path, body) | {"query_string": b"check=true"}, body),
        (a_scope(stadium, path, body) | {"query_string": b"check=true"}, body),
    ]
    twice = a_scope(stadium, path, body)
    # The framework would take the first, a careless way the last, which is good here.
    twice["headers"].insert(0, (b"authorization", b"Bearer other"))
    for scope, content in [*others, (twice, body)]:
        assert sent_to(way, scope, content) == []
        assert framework.bodies.pop() == content
    if service.store.engines.is_sqlite:  # elsewhere the reader's connection belongs to its own loop
        said = sent_to(way, a_scope(stadium, path, body), body)
        assert said[0]["status"] == 201
        assert framework.bodies == []


def test_what_the_action_refuses_is_told_by_the_short_way_itself(
    stadium: MeetAtHand, service: Service
) -> None:
    framework = Framework()
    way = ShortWay(framework, HURRIED, largest=LARGEST_BODY)
    body = json.dumps(a_report(new_id(), stadium.posts["umpire"])).encode()
    path = f"/api/meets/{stadium.id}/reports/{new_id()}"
    said = sent_to(way, a_scope(stadium, path, body), body)
    assert said[0]["status"] == 404
    assert dict(said[0]["headers"])[b"content-type"] == b"application/problem+json"
    assert framework.bodies == []


def test_the_templates_of_the_short_way_are_those_of_the_routes() -> None:
    from app.access.who_may import WHO_MAY

    assert {("PUT", route.template) for route in HURRIED} <= WHO_MAY.keys()

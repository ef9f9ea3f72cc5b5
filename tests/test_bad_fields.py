"""Single values out of bounds, in bodies, paths and queries: refused, named, and nothing stored."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from fastapi.routing import APIRoute

from app.access.who_may import WHO_MAY
from app.ids import new_id
from app.meets.wire import MeetIn
from app.server import ROUTERS
from tests.builders import Json, MeetAtHand, a_meet, a_meet_document, a_problem
from tests.running import Service
from tests.sendings import DOCUMENTS, SENDINGS, told

PARAMETER = re.compile(r"{\w+}")
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
    *(
        ("official", {"name": name}, "/name")
        for name in ("\u200b\u200b", "\u3164", "\u2800", "\u202egull", "A\u2028B", "A\uffffB")
    ),
    ("official", {"affiliation": "\u200d"}, "/affiliation"),
    ("report", {"words": "\u2060\u2060"}, "/words"),
    ("ruling", {"reasons": "\u200b\u200b\u200b"}, "/reasons"),
    ("return", {"reason": "\u3164\u3164\u3164"}, "/reason"),
    ("joining", {"device": "\u115f"}, "/device"),
    ("meet", {"name": "\u180e"}, "/name"),
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


def seen(**position: object) -> Json:
    """An observation with a position."""
    baton = {"metres": 1.2, "uncertainty": 0.3} | position
    return {"observation": {"seen": "pass_completed_beyond_zone", "baton": baton}}


def at(time: object) -> Json:
    return {"clock": {"at": time}}


# RFC 8259 knows numbers, texts and truth values apart; a time is a text of RFC 3339, section 5.6.
OF_ANOTHER_KIND: list[tuple[str, Json, str]] = [
    *(("report", seen(metres=m), "/observation/baton/metres") for m in (True, "1.2", "", None)),
    *(("report", seen(uncertainty=u), "/observation/baton/uncertainty") for u in (False, "0.3")),
    *(
        ("report", {"observation": {"seen": "lane_infringement", "steps": n}}, "/observation/steps")
        for n in (True, "3", 3.0)
    ),
    *(("report", {"take_over": t, "post": None}, "/take_over") for t in (True, "1", 1.0)),
    ("call", {"clock": {"at": "2026-06-13T12:00:00Z", "offset_ms": "-3"}}, "/clock/offset_ms"),
    ("call", {"clock": {"at": "2026-06-13T12:00:00Z", "error_ms": True}}, "/clock/error_ms"),
    *(
        ("call", at(time), "/clock/at")
        for time in (1781352000, 1781352000.5, 1781352000000, "1781352000", "1781352000000", True)
    ),
    *(
        ("call", at(time), "/clock/at")
        for time in ("2026-06-13T12:00Z", "2026-06-13T12:00:00+0200", "2026-06-13T12:00:00", "")
    ),
    ("announcement", {"announced_at": 1781352000}, "/announced_at"),
    *(("official", {"active": active}, "/active") for active in ("yes", "true", 1, 0, "on", None)),
    *(("ruling", {"separate": number}, "/separate") for number in (True, "2", 2.0)),
    *(("meet", {"terms": {"protest_minutes": m}}, "/terms/protest_minutes") for m in (True, "30")),
    ("meet", {"terms": {"chief_umpire_rules": "no"}}, "/terms/chief_umpire_rules"),
    *(("meet", {"track": {"lanes": lanes}}, "/track/lanes") for lanes in (True, "8", 8.0)),
    *(("meet", {"track": {"radius_m": radius}}, "/track/radius_m") for radius in (True, "36.5")),
    *(
        ("meet", {"first_day": day}, "/first_day")
        for day in (1781308800, "1781308800", "2026-06-13T00:00:00", True)
    ),
]


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    """The same for all tests: what is refused leaves nothing behind."""
    return stadium


@pytest.mark.parametrize(("name", "changes", "pointer"), FIELDS)
def test_a_field_out_of_bounds_is_refused_and_named(
    meet: MeetAtHand, name: str, changes: Json, pointer: str
) -> None:
    sending = DOCUMENTS[name](meet)
    before = meet.head()
    problem = a_problem(sending.changed(**changes).send(meet.service.http), 422, "malformed")
    assert problem["errors"][0]["pointer"].startswith(pointer)
    assert meet.head() == before


@pytest.mark.parametrize(("name", "changes", "pointer"), OF_ANOTHER_KIND)
def test_a_number_is_a_number_and_a_time_a_time(
    meet: MeetAtHand, name: str, changes: Json, pointer: str
) -> None:
    sending = DOCUMENTS[name](meet)
    before = meet.head()
    problem = a_problem(sending.changed(**changes).send(meet.service.http), 422, "malformed")
    assert [error["pointer"] for error in problem["errors"]] == [pointer]
    assert meet.head() == before


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("report", seen(metres=1, uncertainty=0)),
        ("report", {"observation": {"seen": "lane_infringement", "steps": 3}}),
        ("call", at("2026-06-13T14:03:10.123456789+02:00")),
        ("call", at("2026-06-13t12:03:10z")),
        ("call", at("2026-06-13T12:00:00-00:00")),
        ("meet", {"track": {"radius_m": 36, "straight_m": 85}}),
        ("official", {"active": False}),
    ],
)
def test_a_whole_number_stands_where_metres_are_meant_and_a_time_in_any_zone(
    meet: MeetAtHand, name: str, changes: Json
) -> None:
    assert DOCUMENTS[name](meet).changed(**changes).send(meet.service.http).status_code == 201


def test_no_document_takes_a_text_or_a_truth_value_for_a_number() -> None:
    documents = {
        route.body_field.field_info.annotation
        for router in ROUTERS
        for route in router.routes
        if isinstance(route, APIRoute) and route.body_field is not None
    }
    # Shared: of returning and withdrawing reports; of taking back, of looking at orders, and of
    # correcting when it was lodged, for protests and appeals; of revoking one's own key or
    # somebody's. One more may be left out: of holding back.
    assert len(documents) == len(DOCUMENTS) - 5 + 1
    for document in documents:
        lax = [part for part in numbers_in(document.__pydantic_core_schema__) if not part["strict"]]
        assert lax == [], document


def numbers_in(part: Any) -> Iterator[Json]:
    """The numbers and truth values in a document's schema, each with whether it is strict."""
    if isinstance(part, dict):
        if part.get("type") in {"int", "float", "bool"}:
            yield {"strict": False} | part
        for inner in part.values():
            yield from numbers_in(inner)
    elif isinstance(part, list):
        for inner in part:
            yield from numbers_in(inner)


@pytest.mark.parametrize("field", ["first_day", "last_day"])
@pytest.mark.parametrize("day", ["2026-06-13", date(2026, 6, 13)])
def test_a_day_is_read_from_text_and_kept_as_it_is(field: str, day: object) -> None:
    days = {"first_day": "2026-06-13", "last_day": "2026-06-13", field: day}
    assert getattr(MeetIn.model_validate(a_meet_document(**days)), field) == date(2026, 6, 13)


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
            answer = meet.organiser.send(method, path, etag='"v1"')
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


def test_a_query_that_nobody_knows_is_refused_at_every_address(meet: MeetAtHand) -> None:
    before = meet.head()
    for method, template in sorted(WHO_MAY):
        path = PARAMETER.sub(new_id(), template.replace("{meet}", meet.id))
        who = min(WHO_MAY[method, template].roles, default="organiser")
        answer = meet[who].send(method, path, params={"dry_run": "true"})
        problem = a_problem(answer, 422, "malformed")
        assert problem["errors"][0]["pointer"] == "query dry_run", (method, template)
        known = {parameter["name"] for parameter in declared_query(meet, method, template)}
        assert set(problem["known"]) == known
        assert all(name in problem["detail"] for name in known), problem["detail"]
    assert meet.head() == before


@pytest.mark.parametrize("name", sorted(SENDINGS))
def test_what_would_have_been_stored_is_not_where_its_query_is_unknown(
    meet: MeetAtHand, name: str
) -> None:
    sending = SENDINGS[name](meet)
    before = meet.head()
    asked = replace(sending, path=f"{sending.path}?dry_run=true")
    problem = a_problem(asked.send(meet.service.http), 422, "malformed")
    assert problem["errors"][0]["pointer"] == "query dry_run"
    assert meet.head() == before
    assert sending.send(meet.service.http).is_success


def declared_query(meet: MeetAtHand, method: str, template: str) -> list[Json]:
    """What the OpenAPI document says of a route's query."""
    document = meet.service.http.get("/openapi.json").json()
    parameters = document["paths"][template][method.lower()].get("parameters", [])
    return [parameter for parameter in parameters if parameter["in"] == "query"]


def test_a_request_to_look_only_never_stores_where_looking_is_not_known(meet: MeetAtHand) -> None:
    before, seen = meet.head(), meet.organiser.get("crew")
    answer = meet.organiser.put(
        "crew", {"posts": []}, params={"check": "true"}, etag=seen.headers["ETag"]
    )
    problem = a_problem(answer, 422, "malformed")
    assert "check" in problem["detail"]
    assert problem["detail"].endswith("It takes none.")
    assert meet.head() == before
    assert meet.organiser.get("crew").json() == seen.json()


def test_a_query_that_contradicts_itself_is_refused(meet: MeetAtHand) -> None:
    before = meet.head()
    rows = b"event,round,heat,lane,team\nMixed 4x100 m,final,1,4,Tern\n"
    answer = meet.organiser.post("start-lists?check=true&check=false", content=rows)
    a_problem(answer, 422, "malformed")
    assert meet.head() == before

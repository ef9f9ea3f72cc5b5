"""The OpenAPI document (3.1.0) says what the routes do, and nothing is loaded from elsewhere."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Iterator

import pytest

from app.access.who_may import MEET, WHO_MAY
from app.header_names import XLSX
from app.ids import new_id
from app.rules.observation import Infringement
from app.wire import Wire
from tests.builders import Json, MeetAtHand, a_meet, a_problem
from tests.running import Service
from tests.sendings import SENDINGS

VERSIONED = ("meet", "crew", "report", "finish list")
PARAMETER = re.compile(r"{\w+}")


@pytest.fixture(scope="module")
def stadium(running_service: Service) -> MeetAtHand:
    return a_meet(running_service)


@pytest.fixture
def meet(stadium: MeetAtHand, service: Service) -> MeetAtHand:
    return stadium


@pytest.fixture
def document(service: Service) -> Json:
    described: Json = service.http.get("/openapi.json").json()
    return described


def operations(document: Json) -> dict[tuple[str, str], Json]:
    return {
        (method.upper(), path): operation
        for path, item in document["paths"].items()
        for method, operation in item.items()
    }


def if_match(operation: Json) -> Json | None:
    """How an operation declares If-Match, None where it does not."""
    named = [one for one in operation.get("parameters", []) if one["name"] == "If-Match"]
    return named[0] if named else None


def test_every_route_says_who_may_call_it_and_how_it_refuses(document: Json) -> None:
    schemes = document["components"]["securitySchemes"]
    assert {scheme["scheme"] for scheme in schemes.values()} == {"bearer"}
    described = operations(document)
    assert described.keys() == WHO_MAY.keys()
    for route, operation in described.items():
        who = WHO_MAY[route]
        named = [name for one in operation["security"] for name in one]
        assert named == ["session"] * bool(who.roles) + ["setupKey"] * who.founder, route
        refusal = operation["responses"]["default"]["content"]
        assert list(refusal) == ["application/problem+json"], route
        assert "422" not in operation["responses"], route


def test_every_put_tells_what_it_made_from_what_was_there(document: Json) -> None:
    for (method, path), operation in operations(document).items():
        answers = operation["responses"].keys()
        assert ("201" in answers) == (method == "PUT"), path
        assert "200" in answers, path


def test_a_route_that_asks_for_a_version_declares_it_and_says_whether_it_must_come(
    meet: MeetAtHand, document: Json
) -> None:
    for (method, path), operation in operations(document).items():
        filled = PARAMETER.sub(new_id(), path.replace("{meet}", meet.id))
        declared = if_match(operation)
        malformed = {"If-Match": "no ETag"}
        statuses = {
            person.send(method, filled, json={}, headers=malformed).status_code
            for person in meet.people.values()
            if not path.endswith("/feed") and path != "/api/me/session"
        }
        assert (412 in statuses) == (declared is not None), path


def test_what_must_name_a_version_is_told_from_what_may(document: Json) -> None:
    needed = {path for (_, path), one in operations(document).items() if must_match(one)}
    ends = (
        "/start",
        "/hold-back",
        "/not-held",
        "/return",
        "/withdraw",
        "{ruling}",
        "{announcement}",
    )
    ends += ("/decision", "/admission", "/panel", "/reopen")
    assert all(path.endswith(ends) for path in needed)
    assert all(any(path.endswith(end) for path in needed) for end in ends)


def must_match(operation: Json) -> bool:
    declared = if_match(operation)
    return declared is not None and declared["required"]


def test_what_is_answered_with_an_etag_says_so(meet: MeetAtHand, document: Json) -> None:
    paths = operations(document)
    for name, build in SENDINGS.items():
        sending = build(meet)
        answer = sending.send(meet.service.http)
        assert answer.is_success, name
        template = next(
            path
            for method, path in paths
            if method == sending.method and re.fullmatch(PARAMETER.sub("[^/]+", path), sending.path)
        )
        told = paths[sending.method, template]["responses"][str(answer.status_code)]
        assert ("ETag" in told.get("headers", {})) == ("etag" in answer.headers), name


def test_what_is_signed_is_shown_before_and_the_document_says_so(document: Json) -> None:
    """With `check=true` the answer is 200 with the statement, and nothing was made."""
    schemas, shown = document["components"]["schemas"], "#/components/schemas/ShownOut"
    assert set(schemas["ShownOut"]["required"]) == {"statement", "canonical", "sha256", "shown_at"}
    signed = 0
    for route, operation in operations(document).items():
        sent = json_schema(operation.get("requestBody", {})).get("$ref", "").rpartition("/")[2]
        is_signed = "statement_sha256" in schemas.get(sent, {}).get("properties", {})
        answers = operation["responses"]
        alternatives = json_schema(answers["200"]).get("anyOf", [])
        assert ({"$ref": shown} in alternatives) == is_signed, route
        assert shown not in json.dumps(answers.get("201", {})), route
        signed += is_signed
    assert signed == 17, "as many as are looked at and signed in tests/access/test_signing.py"


def json_schema(described: Json) -> Json:
    """The schema of what a body or an answer holds as JSON, empty where it holds none."""
    schema: Json = described.get("content", {}).get("application/json", {}).get("schema", {})
    return schema


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/docs/oauth2-redirect"])
def test_no_page_needs_scripts_of_another_host(service: Service, path: str) -> None:
    told = a_problem(service.http.get(path), 404, "not-found")
    assert "/openapi.json" in told["detail"]


def test_the_index_of_problems_lists_every_type_once_and_each_resolves(service: Service) -> None:
    listed = service.http.get("/problems").json()["problems"]
    addresses = [one["type"] for one in listed]
    assert len(set(addresses)) == len(addresses)
    for one in listed:
        assert one["title"]
        assert one["meaning"], one
        assert one["meaning"] == " ".join(one["meaning"].split()), "a line of plain text"
        assert 400 <= one["status"] < 600
        assert service.http.get(one["type"]).json() == one
    a_problem(service.http.get("/problems/none-of-ours"), 404, "not-found")


def test_a_type_that_several_refusals_share_has_the_meaning_of_all_of_them(
    service: Service,
) -> None:
    told = service.http.get("/problems/conflict").json()["meaning"]
    assert told == "What was asked contradicts what has been decided or stored meanwhile."


def test_every_document_shows_examples_that_are_taken(document: Json) -> None:
    sent = {
        operation["requestBody"]["content"]["application/json"]["schema"]["$ref"].split("/")[-1]
        for operation in operations(document).values()
        if "application/json" in operation.get("requestBody", {}).get("content", {})
    }
    models = {model.__name__: model for model in every_document(Wire)}
    assert sent <= models.keys()
    for name in sent:
        examples = document["components"]["schemas"][name].get("examples")
        assert examples, name
        for example in examples:
            models[name].model_validate_json(json.dumps(example))


def test_each_infringement_has_its_example(document: Json) -> None:
    examples = document["components"]["schemas"]["ReportIn"]["examples"]
    assert {one["observation"]["seen"] for one in examples} == set(Infringement)


def test_what_an_id_looks_like_is_told_wherever_one_is_asked_for(document: Json) -> None:
    """RFC 9562, section 4, in any case of its letters; OpenAPI 3.1.0 takes JSON Schema's patterns,
    which look anywhere in a text unless they say otherwise.
    """
    for route, operation in operations(document).items():
        for one in operation.get("parameters", []):
            if one["in"] == "path" and one["name"] not in {"slug", "relay", "take_over"}:
                told = re.compile(one["schema"]["pattern"])
                assert told.search(new_id()), route
                assert told.search(str(uuid.uuid4()).upper()), route
                assert not told.search(f"{new_id()}0"), route
                assert not told.search(str(uuid.uuid5(uuid.NAMESPACE_DNS, "relays.test"))), route


@pytest.mark.parametrize(
    "route",
    [
        ("POST", f"{MEET}/start-lists"),
        ("POST", f"{MEET}/officials-list"),
        ("POST", f"{MEET}/crew-list"),
        ("PUT", f"{MEET}/heats/{{heat}}/result"),
    ],
)
def test_a_list_may_come_as_text_or_as_a_workbook(document: Json, route: tuple[str, str]) -> None:
    taken = operations(document)[route]["requestBody"]["content"]
    assert taken.keys() == {"text/csv", XLSX}


def test_every_answer_tells_of_which_kind_it_is(document: Json) -> None:
    for route, operation in operations(document).items():
        assert operation["responses"]["200"].get("content"), route


def test_what_refusals_tell_in_their_headers_is_described(meet: MeetAtHand, document: Json) -> None:
    told = operations(document)["GET", f"{MEET}/heats"]["responses"]["default"]["headers"]
    http, lists = meet.service.http, f"/api/meets/{meet.id}/start-lists"
    packed = {"Content-Encoding": "gzip"}
    given = [
        *http.get("/api/me").headers,
        *http.delete(lists).headers,
        *meet.organiser.post("start-lists", content=b"x", headers=packed).headers,
    ]
    ours = {"www-authenticate", "allow", "accept-encoding"}
    assert ours <= set(given)
    assert {name.lower() for name in told} == ours | {"retry-after"}


def every_document(base: type[Wire]) -> Iterator[type[Wire]]:
    yield base
    for model in base.__subclasses__():
        yield from every_document(model)


def test_every_route_names_the_roles_that_may_call_it(document: Json) -> None:
    for route, operation in operations(document).items():
        who, said = WHO_MAY[route], operation["description"].split("Who may: ")[1]
        assert who.public is (said == "anybody.")
        assert said.startswith("every official") or all(role in said for role in who.roles)
        assert who.aside in said

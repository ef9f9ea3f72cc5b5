"""The OpenAPI document: what the framework tells, and what only the program knows.

Who may call a route comes from `access/who_may.py`; that a PUT of something new answers 201, and
that what has a version is answered with its ETag, from `answers.py`; that what is signed can be
looked at before, from `access/sign_wire.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from fastapi.routing import APIRoute
from starlette.routing import BaseRoute

from app.access.sign_wire import ShownOut, Signable
from app.access.who_may import WHO_MAY, Who
from app.answers import version_required
from app.roles import Role

SESSION, SETUP_KEY = "session", "setupKey"
SCHEMES = {
    SESSION: {
        "type": "http",
        "scheme": "bearer",
        "description": "the session's token, as POST /api/join answers it",
    },
    SETUP_KEY: {
        "type": "http",
        "scheme": "bearer",
        "description": "the server's setup key, which makes meets and issues personal links",
    },
}
ETAG = {
    "description": "the version, for If-Match",
    "schema": {"type": "string", "examples": ['"v3"']},
}

SCHEMAS = "#/components/schemas/{model}"
SHOWN = {"$ref": SCHEMAS.format(model=ShownOut.__name__)}

Json = dict[str, Any]


def describe(document: Json, routes: Iterable[BaseRoute]) -> Json:
    """The framework's document about these routes, completed in place."""
    known = {one: route for route in routes if isinstance(route, APIRoute) for one in _named(route)}
    document["components"]["securitySchemes"] = SCHEMES
    schemas = document["components"]["schemas"]
    schemas[ShownOut.__name__] = ShownOut.model_json_schema(
        ref_template=SCHEMAS, mode="serialization"
    )
    for method, path, operation in _operations(document):
        who, route = WHO_MAY[method.upper(), path], known[method.upper(), path]
        operation["security"] = _security(who)
        operation["description"] = f"{operation.get('description', '')}\n\n{_who(who)}".strip()
        answers = operation["responses"]
        if "200" in answers and _has_version(answers["200"], schemas):
            answers["200"]["headers"] = {"ETag": ETAG}
        for parameter in operation.get("parameters", []):
            if parameter["name"] == "If-Match" and _must_match(route):
                parameter["required"] = True
        if method == "put":
            answers["200"]["description"] = "It is there already, or was changed as seen."
            answers["201"] = {**answers["200"], "description": "It was made by this request."}
        if _is_signed(route):
            answers["200"] = _or_shown(answers["200"])
    return document


def _named(route: APIRoute) -> Iterator[tuple[str, str]]:
    yield from ((method, route.path) for method in route.methods or ())


def _must_match(route: APIRoute) -> bool:
    """Whether a route answers 428 where no version is named."""
    return any(needed.call is version_required for needed in route.dependant.dependencies)


def _is_signed(route: APIRoute) -> bool:
    """Whether a route takes what is signed, and shows it before with `check=true`."""
    sent = [one.field_info.annotation for one in route.dependant.body_params]
    return any(isinstance(one, type) and issubclass(one, Signable) for one in sent)


def _or_shown(answer: Json) -> Json:
    """The answer, or what would be signed, where that was asked for."""
    told, said = answer["content"]["application/json"], answer["description"].rstrip(".")
    schema = {"anyOf": [told["schema"], SHOWN]}
    return {
        **answer,
        "description": f"{said}. With check=true: what would be signed.",
        "content": {"application/json": {**told, "schema": schema}},
    }


def _operations(document: Json) -> Iterator[tuple[str, str, Json]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield method, path, operation


def _security(who: Who) -> list[dict[str, list[str]]]:
    """An empty list where anybody may (OpenAPI 3.1.0, Operation Object)."""
    if who.public:
        return []
    return [{SESSION: []}, {SETUP_KEY: []}] if who.founder else [{SESSION: []}]


def _who(who: Who) -> str:
    """The roles that may call a route, in words; every role alike is one sentence."""
    if who.public:
        return "Who may: anybody."
    roles = "every official" if who.roles == frozenset(Role) else ", ".join(sorted(who.roles))
    named = " or ".join(filter(None, [roles, "whoever has the setup key" if who.founder else ""]))
    return f"Who may: {named}{f' ({who.aside})' if who.aside else ''}."


def _has_version(answer: Json, schemas: Mapping[str, Json]) -> bool:
    schema = answer.get("content", {}).get("application/json", {}).get("schema", {})
    name = schema.get("$ref", "").rsplit("/", 1)[-1]
    return "version" in schemas.get(name, {}).get("properties", {})

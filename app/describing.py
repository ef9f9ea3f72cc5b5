"""The OpenAPI document: what the framework tells, and what only the program knows.

Who may call a route comes from `access/who_may.py`; that a PUT of something new answers 201, and
that what has a version is answered with its ETag, from `answers.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from fastapi.routing import APIRoute
from starlette.routing import BaseRoute

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

Json = dict[str, Any]


def describe(document: Json, routes: Iterable[BaseRoute]) -> Json:
    """The framework's document about these routes, completed in place."""
    must_match = {path for route in routes for path in _paths_that_must_match(route)}
    document["components"]["securitySchemes"] = SCHEMES
    for method, path, operation in _operations(document):
        who = WHO_MAY[method.upper(), path]
        operation["security"] = _security(who)
        operation["description"] = f"{operation.get('description', '')}\n\n{_who(who)}".strip()
        answers = operation["responses"]
        if "200" in answers and _has_version(answers["200"], document["components"]["schemas"]):
            answers["200"]["headers"] = {"ETag": ETAG}
        for parameter in operation.get("parameters", []):
            if parameter["name"] == "If-Match" and (method, path) in must_match:
                parameter["required"] = True
        if method == "put":
            answers["200"]["description"] = "It is there already, or was changed as seen."
            answers["201"] = {**answers["200"], "description": "It was made by this request."}
    return document


def _paths_that_must_match(route: BaseRoute) -> Iterator[tuple[str, str]]:
    """Method and path of a route that answers 428 where no version is named."""
    if isinstance(route, APIRoute) and any(
        needed.call is version_required for needed in route.dependant.dependencies
    ):
        yield from ((method.lower(), route.path) for method in route.methods or ())


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

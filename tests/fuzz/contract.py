"""What any answer of the service must be, whoever asked for whatever."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from urllib.parse import parse_qs, urlsplit

from schemathesis import Case, Response
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.core.mutations import Mutation
from schemathesis.core.parameters import ParameterLocation
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from app.problems import MEDIA_TYPE, OTHERS, PROBLEMS
from tests.builders import INNARDS

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
IN_TABLE = {
    (f"/problems/{kind.slug}", kind.status) for kind in (*PROBLEMS.values(), *OTHERS.values())
}
INSTANCE = re.compile(r"urn:uuid:[0-9a-f-]{36}")


def breaches(case: Case, answer: Response) -> list[str]:
    """Where an answer breaks what the document says, or what every error keeps to."""
    found = list(_undeclared(case, answer))
    taken = answer.status_code < 400 and _is_wrong(case, answer)
    checks = [*CHECKS, negative_data_rejection] if taken else CHECKS
    try:
        case.validate_response(answer, checks=checks)
    except FailureGroup as failures:
        found += [f"{one.title}: {one.message}" for one in failures.exceptions]
    if answer.status_code >= 400:
        found += of_an_error(answer)
    return found


def _undeclared(case: Case, answer: Response) -> Iterator[str]:
    """An answer with content whose kind the document keeps to itself: no check of the library's."""
    told = case.operation.definition.raw["responses"].get(str(answer.status_code))
    if told is not None and answer.content and not told.get("content"):
        yield f"content of a kind that is not declared: {answer.headers.get('content-type')}"


def _is_wrong(case: Case, answer: Response) -> bool:
    """Whether anything in a request is wrong on purpose; of a picture nothing can be made so."""
    mutations = case.meta.phase.data.mutations if case.meta is not None else ()
    query = parse_qs(urlsplit(str(answer.request.url)).query, keep_blank_values=True)
    return any(_is_sent(one, query) for one in mutations or ())


def _is_sent(mutation: Mutation, query: Collection[str]) -> bool:
    """Whether what was made wrong goes over the line, and is read there: no address has a list
    without entries, none reads what it does not know but in a body, and who asks is said for each
    request anew.
    """
    place, keywords = mutation.parameter_location, mutation.keywords
    if place is not ParameterLocation.BODY and "additionalProperties" in keywords:
        return False
    if place is ParameterLocation.QUERY:
        return mutation.parameter in {None, *query} or "required" in keywords
    return mutation.parameter != "Authorization"


def of_an_error(answer: Response) -> list[str]:
    """Where an error is no problem document of the table (RFC 9457; DEVELOPERS)."""
    kind = answer.headers.get("content-type")
    if kind != [MEDIA_TYPE]:
        return [f"an error of the content type {kind}"]
    told = answer.json()
    found = []
    if (told["type"], answer.status_code) not in IN_TABLE or told["status"] != answer.status_code:
        found.append(f"{told['type']} with {told['status']} as {answer.status_code}")
    if not INSTANCE.fullmatch(told["instance"]) or not told["title"]:
        found.append("no instance, or no title")
    if not told["detail"].endswith((".", "?")):
        found.append(f"no sentence: {told['detail']!r}")
    if any(word in answer.text for word in INNARDS):
        found.append(f"it tells of the program's innards: {told['detail']!r}")
    return found

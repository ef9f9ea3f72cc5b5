"""One table from conditions to problem documents (RFC 9457).

Every error is `application/problem+json` with a stable `type`, a title, a sentence about what to do
next, and where it applies the field at fault. An unknown error is a 500 with nothing but an id.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app import refusals
from app.attended import attended_now
from app.rules.observation import Infringement
from app.shortage import WHAT_TO_DO, is_shortage

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
Handler = Callable[[Request, Exception], Awaitable[Response]]
_OBSERVATIONS = frozenset(Infringement)
_LISTS_OF_ORDERS = frozenset({"orders", "sought"})


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem: its status, the last part of its type URI, its title."""

    status: int
    slug: str
    title: str


PROBLEMS: dict[type[refusals.Refusal], ProblemType] = {
    refusals.Malformed: ProblemType(422, "malformed", "This cannot be taken as it is"),
    refusals.FileRefused: ProblemType(422, "file-refused", "The file has problems"),
    refusals.NotFound: ProblemType(404, "not-found", "There is no such thing"),
    refusals.IdTaken: ProblemType(409, "id-taken", "The id belongs to something else"),
    refusals.NotPossible: ProblemType(409, "not-possible", "Not possible in this state"),
    refusals.StateConflict: ProblemType(409, "conflict", "This contradicts what is stored"),
    refusals.MeetErased: ProblemType(409, "conflict", "This contradicts what is stored"),
    refusals.NoLongerStands: ProblemType(409, "conflict", "This contradicts what is stored"),
    refusals.NeedsWord: ProblemType(409, "needs-word", "This needs an explicit word"),
    refusals.NotProtestable: ProblemType(
        409, "not-protestable", "The rules give no remedy against this"
    ),
    refusals.Affected: ProblemType(403, "affected", "This member is asked to withdraw"),
    refusals.Stale: ProblemType(412, "stale", "Somebody was first"),
    refusals.EtagUnknown: ProblemType(412, "etag-unknown", "This is no ETag of this server"),
    refusals.PreconditionMissing: ProblemType(
        428, "precondition-missing", "Which version is meant?"
    ),
    refusals.NotJoined: ProblemType(401, "not-joined", "Join first"),
    refusals.CrossSite: ProblemType(403, "cross-site", "This came from another site"),
    refusals.RoleMissing: ProblemType(403, "role-missing", "Your role does not allow this"),
    refusals.NotYours: ProblemType(403, "not-yours", "This belongs to somebody else"),
    refusals.OwnReport: ProblemType(403, "own-report", "Nobody rules on their own report"),
    refusals.JoinRefused: ProblemType(403, "join-refused", "The personal link is not good"),
    refusals.PinRefused: ProblemType(403, "pin-refused", "The PIN is not right"),
    refusals.SignatureRefused: ProblemType(
        403, "signature-refused", "This signature or key is not good here"
    ),
    refusals.StatementChanged: ProblemType(
        409, "statement-changed", "Something else was signed than would be recorded"
    ),
    refusals.ShownLongAgo: ProblemType(
        409, "shown-long-ago", "This was shown too long ago to be signed"
    ),
    refusals.TooManyTries: ProblemType(429, "too-many-tries", "Too many wrong tries"),
    refusals.TooMuchAtOnce: ProblemType(429, "too-much-at-once", "Too much at once"),
    refusals.TooManyStreams: ProblemType(429, "too-many-streams", "Too many live feeds"),
    refusals.Unavailable: ProblemType(503, "unavailable", "Not available just now"),
    refusals.NotAsSigned: ProblemType(503, "not-as-signed", "This is not what was signed"),
}

UNAVAILABLE = PROBLEMS[refusals.Unavailable]
SOON = {"Retry-After": "2"}

OTHERS: dict[int, ProblemType] = {
    400: ProblemType(400, "bad-request", "This request cannot be read"),
    404: ProblemType(404, "not-found", "There is no such thing"),
    405: ProblemType(405, "method-not-allowed", "This cannot be done here"),
    408: ProblemType(408, "too-slow", "This took too long"),
    413: ProblemType(413, "too-large", "This is too large"),
    415: ProblemType(415, "media-type", "This kind of document is not taken here"),
    431: ProblemType(431, "head-too-large", "The headers are too large"),
    500: ProblemType(500, "unexpected", "Something went wrong"),
}

ADVICE = {
    400: "The body cannot be read: send JSON in UTF-8.",
    404: "There is nothing at this address. /openapi.json names what there is.",
    405: "This address knows other methods; the Allow header names them.",
    408: "The request did not come to its end in time. Nothing was stored; send it again.",
    413: "What was sent is larger than this address takes.",
    415: "Send a JSON document, with the header “Content-Type: application/json”.",
    431: "The address and the headers together may have 16 KiB. Nothing was stored.",
    500: "Something went wrong on the server; it was noted.",
}

REASONS = {
    "missing": "this is missing",
    "extra_forbidden": "this is not known here",
    **dict.fromkeys(
        ("model_type", "model_attributes_type", "dataclass_type", "dict_type"),
        "this must be a JSON object",
    ),
    "list_type": "this must be a list",
    "string_type": "this must be a text",
    **dict.fromkeys(("bool_type", "bool_parsing"), "write true or false"),
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float"), "write a whole number"),
    **dict.fromkeys(("float_type", "float_parsing", "finite_number"), "write a number"),
    "int_parsing_size": "this number is too large",
    "greater_than": "write a number above {gt:,}",
    "greater_than_equal": "write a number that is {ge:,} or more",
    "less_than": "write a number below {lt:,}",
    "less_than_equal": "write a number that is {le:,} or less",
    **dict.fromkeys(("enum", "literal_error"), "write one of these: {expected}"),
    "union_tag_invalid": "“{discriminator}” is none of these: {expected_tags}",
    "union_tag_not_found": "“{discriminator}” is missing: it says what this is about",
    **dict.fromkeys(
        ("date_type", "date_parsing", "date_from_datetime_parsing", "date_from_datetime_inexact"),
        "write the day as YYYY-MM-DD, such as 2026-06-13",
    ),
    **dict.fromkeys(
        ("datetime_type", "datetime_parsing", "datetime_from_date_parsing", "timezone_aware"),
        "write the time with its zone (RFC 3339), such as 2026-06-13T14:03:10+02:00",
    ),
}
"""What the toolkit finds wrong, by its own name for it, in plain words."""

OF_TEXT = {
    **dict.fromkeys(("string_too_long", "too_long"), "write {max_length} characters at most"),
    **dict.fromkeys(("string_too_short", "too_short"), "write {min_length} or more characters"),
}
OF_LISTS = {
    "too_long": "this list may have {max_length} entries at most",
    "too_short": "this list must have {min_length} or more entries",
}
"""The same for lengths, which the toolkit names alike whatever has them."""


DOCUMENTED: dict[int | str, dict[str, Any]] = {
    "default": {
        "description": "A problem document (RFC 9457); `type` resolves to its meaning.",
        "headers": {
            "WWW-Authenticate": {
                "description": "with 401: how to show who you are",
                "schema": {"type": "string", "examples": ["Bearer"]},
            },
            "Retry-After": {
                "description": "where waiting helps: seconds until it may be tried again",
                "schema": {"type": "integer", "minimum": 1},
            },
            "Allow": {
                "description": "with 405: the methods that the address knows",
                "schema": {"type": "string", "examples": ["GET, PUT"]},
            },
            "Accept-Encoding": {
                "description": "with 415, where a packed body was sent: what is taken",
                "schema": {"type": "string", "examples": ["identity"]},
            },
        },
        "content": {
            MEDIA_TYPE: {
                "schema": {
                    "type": "object",
                    "required": ["type", "title", "status", "detail", "instance"],
                    "properties": {
                        "type": {"type": "string", "format": "uri-reference"},
                        "title": {"type": "string"},
                        "status": {"type": "integer"},
                        "detail": {"type": "string"},
                        "instance": {"type": "string", "format": "uri"},
                        "errors": {
                            "type": "array",
                            "items": {
                                "type": "object",
                                "properties": {
                                    "pointer": {"type": "string"},
                                    "detail": {"type": "string"},
                                },
                            },
                        },
                    },
                }
            }
        },
    }
}
"""What the OpenAPI document says of every route's errors."""


def problem(
    kind: ProblemType, detail: str, headers: dict[str, str] | None = None, **more: object
) -> Response:
    """A problem document."""
    body = {
        "type": f"/problems/{kind.slug}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "instance": f"urn:uuid:{attended_now().id}",
        **more,
    }
    return Response(
        json.dumps(body, ensure_ascii=False, default=str).encode("utf-8", "replace"),
        status_code=kind.status,
        media_type=MEDIA_TYPE,
        headers=headers,
    )


async def answer_refusal(_request: Request, refusal: Exception) -> Response:
    """A condition in words of the trade, as a problem document."""
    assert isinstance(refusal, refusals.Refusal)
    kind = PROBLEMS[type(refusal)]
    more: dict[str, object] = dict(refusal.facts)
    if isinstance(refusal, refusals.FileRefused):
        more["problems"] = [asdict(found) for found in refusal.problems]
    if refusal.field is not None:
        more["errors"] = [{"pointer": refusal.field, "detail": refusal.detail}]
    return problem(kind, refusal.detail, _headers(refusal), **more)


def _headers(refusal: refusals.Refusal) -> dict[str, str]:
    if isinstance(refusal, (refusals.TooManyTries, refusals.TooMuchAtOnce, refusals.Unavailable)):
        return {"Retry-After": str(refusal.retry_after)}
    if isinstance(refusal, refusals.NotJoined):
        return {"WWW-Authenticate": "Bearer"}
    return {}


async def answer_malformed(request: Request, error: Exception) -> Response:
    """A body, path or query that does not fit its document: which field, and why."""
    assert isinstance(error, RequestValidationError)
    if _is_other_media(request, error):
        return problem(OTHERS[415], _with_comfort(ADVICE[415], request.method))
    errors = [
        {"pointer": "", "detail": f"this is no JSON from its character {found['loc'][1]} onward"}
        if found["type"] == "json_invalid"
        else {"pointer": _pointer(found["loc"]), "detail": _plain(found)}
        for found in error.errors()[:50]
    ]
    first = errors[0] if errors else {"pointer": "", "detail": "it cannot be read"}
    detail = f"{first['pointer'] or 'The body'}: {first['detail']}."
    return problem(
        PROBLEMS[refusals.Malformed], _with_comfort(detail, request.method), errors=errors
    )


def _is_other_media(request: Request, error: RequestValidationError) -> bool:
    """Whether the whole body was not read, because its content type is not that of JSON."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    is_json = kind.startswith("application/") and kind.endswith(("/json", "+json"))
    return not is_json and all(tuple(found["loc"]) == ("body",) for found in error.errors())


def _with_comfort(detail: str, method: str) -> str:
    """What somebody who sent something wants to know as well; a reader expects nothing else."""
    return detail if method in {"GET", "HEAD"} else f"{detail} Nothing was stored."


def _pointer(location: tuple[int | str, ...] | list[int | str]) -> str:
    """A JSON pointer (RFC 6901) into the body, or the name of a path or query parameter."""
    place, *rest = location
    if place == "body":
        parts = [part for at, part in enumerate(rest) if not _is_tag(rest, at)]
        return "".join(f"/{str(part).replace('~', '~0').replace('/', '~1')}" for part in parts)
    return f"{place} {rest[0]}" if rest else str(place)


def _is_tag(parts: Sequence[int | str], at: int) -> bool:
    """Whether this is no step into the body, but the reader's note of which observation, or which
    kind of order, it took.
    """
    if at > 0 and parts[at - 1] == "observation":
        return parts[at] in _OBSERVATIONS
    return at > 1 and parts[at - 2] in _LISTS_OF_ORDERS and isinstance(parts[at], str)


def _plain(found: Mapping[str, Any]) -> str:
    kind, facts = found["type"], found.get("ctx", {})
    if kind == "value_error":
        return str(facts["error"]).removesuffix(".")
    lengths = OF_TEXT if isinstance(found["input"], str) else OF_LISTS
    words = lengths.get(kind) or REASONS.get(kind, "this cannot be taken as it is")
    return words.format(**{name: _as_written(fact) for name, fact in facts.items()})


def _as_written(fact: object) -> object:
    """A fact as people write it: no quotes around names, no point behind a whole number."""
    if isinstance(fact, str):
        return fact.replace("'", "")
    return int(fact) if isinstance(fact, float) and fact.is_integer() else fact


async def answer_http_error(request: Request, error: Exception) -> Response:
    """What the framework refuses by itself: unknown addresses, methods, oversized bodies."""
    assert isinstance(error, HTTPException)
    if is_shortage(error.__cause__):  # the framework calls that a body that cannot be read
        return await answer_refusal(request, refusals.Unavailable(WHAT_TO_DO))
    kind = OTHERS.get(error.status_code) or ProblemType(
        error.status_code, "bad-request", "This request was refused"
    )
    detail = ADVICE.get(error.status_code, str(error.detail))
    if error.status_code == 400:
        detail = _why_unread(error) or detail
    if error.status_code in {400, 413}:
        detail = _with_comfort(detail, request.method)
    return problem(kind, detail, dict(error.headers or {}))


def _why_unread(error: HTTPException) -> str | None:
    """What stopped the reader of JSON, where it was not the letters (RFC 8259, 9: its limits)."""
    match error.__cause__:
        case UnicodeError():
            return None
        case RecursionError():
            return "The body cannot be read: its lists or objects are nested too deep."
        case ValueError():
            return "The body cannot be read: a number in it has too many digits."
    return None


class CatchUnexpected:
    """Turns any other error into a 500 with nothing but an id that also stands in the log, or into
    a 503 where the machine had nothing left.

    The framework's own handler raises the error again after answering, and the server then drops
    the connection, with whatever else the phone had sent on it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        started = False

        async def watch(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self._app(scope, receive, watch)
        except ClientDisconnect:  # in the middle of what was sent: nobody is there to be answered
            return
        except Exception as error:
            if scope["type"] != "http" or started:
                raise
            log.exception("unexpected error urn:uuid:%s", attended_now().id)
            response = problem(OTHERS[500], ADVICE[500])
            if is_shortage(error):
                response = problem(UNAVAILABLE, WHAT_TO_DO, SOON)
            await response(scope, receive, send)


class TellTooLarge:
    """Gives an oversized body its problem document, where the framework would answer plain text.

    The framework's limit sits outside all handlers and middleware, and replaces whatever they
    answer to a body whose length was declared, so this wraps the finished application.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        replaced = False

        async def replace(message: Message) -> None:
            nonlocal replaced
            if message["type"] == "http.response.start" and _is_plain_too_large(message):
                replaced = True
                detail = _with_comfort(ADVICE[413], scope["method"])
                await problem(OTHERS[413], detail)(scope, receive, send)
            elif not replaced:
                await send(message)

        await self._app(scope, receive, replace)


def _is_plain_too_large(start: Message) -> bool:
    kinds = {value for name, value in start["headers"] if name == b"content-type"}
    return start["status"] == 413 and MEDIA_TYPE.encode() not in kinds


def install(app: FastAPI, shown: Callable[[Handler], Handler]) -> None:
    """Give every error of an application its problem document, and people what is `shown` of it."""
    app.add_exception_handler(refusals.Refusal, shown(answer_refusal))
    app.add_exception_handler(RequestValidationError, shown(answer_malformed))
    app.add_exception_handler(HTTPException, shown(answer_http_error))
    app.add_middleware(CatchUnexpected)

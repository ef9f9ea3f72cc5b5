"""The short way: what phones send in a hurry goes to its route past the framework's own layers.

Routers, exit stacks and dependency solving took 140 of the 210 µs that a report spent on the event
loop (measured). So where a request is exactly what a phone sends, it is read here, admitted by the
same guard from the same table, and answered by the very function that the framework would call. All
else goes the framework's way, with its body: whatever is odd, malformed or not allowed is refused
there and worded there; only a body that grows too long is told here. A test sends the same things
both ways.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from fastapi import Response
from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.access.cookies import CameWith
from app.access.guard import Admitted, Knock, admit_knock
from app.access.known_callers import OutOfDate
from app.ids import ACCEPTED_ID
from app.problems import answer_http_error, answer_refusal
from app.refusals import Refusal
from app.wire import Wire, insist_names_once

Answer: TypeAlias = Callable[[str, str, Any, Admitted], Awaitable[Response]]

_WHO_SENDS = (b"authorization", b"cookie", b"sec-fetch-site", b"origin", b"host")
_PARAMETER = re.compile(r"{\w+}")


class Hurried:
    """A PUT of a meet's thing by its id: the route's template, its document, its function."""

    def __init__(self, template: str, document: type[Wire], answer: Answer) -> None:
        self.template = template
        # Ids in their canonical form only: any other spelling is the framework's business.
        self.path = re.compile(_PARAMETER.sub(f"({ACCEPTED_ID})", template))
        self.read: Callable[[bytes], Wire] = document.model_validate_json
        self.answer = answer


@dataclass(frozen=True, slots=True)
class _Asked:
    """A request that may go the short way: to which route, for which thing, and who knocks."""

    route: Hurried
    meet: str
    thing: str
    knock: Knock


class ShortWay:
    """Middleware inside those that catch errors and limit bodies, outside the routers."""

    def __init__(self, app: ASGIApp, routes: Sequence[Hurried]) -> None:
        self._app = app
        self._routes = tuple(routes)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        asked = self._recognise(scope)
        if asked is None:
            await self._app(scope, receive, send)
        else:
            await self._take(asked, scope, receive, send)

    def _recognise(self, scope: Scope) -> _Asked | None:
        if scope["type"] != "http" or scope["method"] != "PUT" or scope.get("query_string"):
            return None
        for route in self._routes:
            found = route.path.fullmatch(scope["path"])
            if found is not None:
                headers = dict(scope["headers"])
                if len(headers) != len(scope["headers"]) or not _is_plain(headers):
                    return None
                knock = Knock("PUT", route.template, found[1], _came_with(headers))
                return _Asked(route, found[1], found[2], knock)
        return None

    async def _take(self, asked: _Asked, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            came = await _receive_all(receive)
        except HTTPException as error:  # the body is longer than its declared length may be
            await (await answer_http_error(Request(scope), error))(scope, receive, send)
            return
        services = scope["app"].state.services
        try:
            body = b"".join(part.get("body", b"") for part in came)
            here = await admit_knock(services, asked.knock, body, hurries=True)
            sent = asked.route.read(body)
            insist_names_once(body)
            services.pace.count_change(here.caller.session_id, services.clock.now())
        except (Refusal, ValidationError):
            await self._app(scope, _once_more(came, receive), send)
            return
        try:
            response = await asked.route.answer(asked.meet, asked.thing, sent, here)
        except OutOfDate:
            if here.taken is not None:
                services.callers.forget(here.taken)
            await self._app(scope, _once_more(came, receive), send)
            return
        except Refusal as refusal:
            response = await answer_refusal(Request(scope), refusal)
        await response(scope, receive, send)


def _came_with(headers: Mapping[bytes, bytes]) -> CameWith:
    return CameWith(*(headers.get(name, b"").decode("latin-1") for name in _WHO_SENDS))


def _is_plain(headers: Mapping[bytes, bytes]) -> bool:
    """Whether the headers are those of a new document: JSON of a declared length.

    A request that names a version (`If-Match`) changes something, which is rare.
    """
    return (
        headers.get(b"content-type") == b"application/json"
        and b"content-length" in headers
        and b"content-encoding" not in headers
        and b"if-match" not in headers
    )


async def _receive_all(receive: Receive) -> list[Message]:
    """The messages that bring the body. The declared length has passed the limit already."""
    came = [await receive()]
    while came[-1].get("more_body", False):
        came.append(await receive())
    return came


def _once_more(came: Sequence[Message], receive: Receive) -> Receive:
    """What was received, to be received again; then whatever comes after it."""
    again = iter(came)

    async def receive_again() -> Message:
        return next(again, None) or await receive()

    return receive_again

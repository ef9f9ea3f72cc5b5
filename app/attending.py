"""Attending to each request: it gets its id, is measured, and has its line in the log."""

from __future__ import annotations

import re
from time import perf_counter, time

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.attended import HEADER, NO_ROUTE, NOW, PAST_LAYERS, Attended
from app.logs import Answered, RequestLog
from app.measures import Measures

_HEADER = HEADER.lower().encode()
_MADE_BY_MACHINES = re.compile(rb"[0-9a-f]{32}|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
"""A UUID, or as many digits without its hyphens: nothing that a person would be called."""


class Attend:
    """Middleware outside all others: gives the id, measures, and has the answer put in the log."""

    def __init__(self, app: ASGIApp, measures: Measures, log: RequestLog) -> None:
        self._app, self._measures, self._log = app, measures, log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = perf_counter()
        now = Attended()
        NOW.set(now)
        scope[PAST_LAYERS] = send
        header = (_HEADER, now.id.encode())
        status = 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                _find_template(now, scope)
                self._measures.count(scope["method"], now.template, status, perf_counter() - began)
                # A copy: an answer that is kept for others has these headers too.
                message = {**message, "headers": [*message["headers"], header]}
            await send(message)

        try:
            await self._app(scope, receive, send_with_id)
        finally:
            # The server's own cycle holds the scope and is behind `send`: none may hold the other.
            scope.pop(PAST_LAYERS, None)
            took = perf_counter() - began
            sent_id = _sent_id(scope)
            self._log.take(
                Answered(
                    time(), now.id, sent_id, scope["method"], now.template, status, took, now.actor
                )
            )


def _find_template(now: Attended, scope: Scope) -> None:
    """The route also of a request that was refused before the guard saw it, as for its body."""
    if now.template is NO_ROUTE and "route" in scope:
        now.template = getattr(scope["route"], "path", NO_ROUTE)


def _sent_id(scope: Scope) -> str | None:
    for name, value in scope["headers"]:
        if name == _HEADER:
            return value.decode() if _MADE_BY_MACHINES.fullmatch(value) else None
    return None

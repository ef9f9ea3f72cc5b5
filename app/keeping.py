"""What one official was told is kept by no browser and no proxy for the next one.

A tablet goes from hand to hand: after signing off, the back button must not bring back what only
the last one might see. Whoever asks with a session gets an answer that nobody keeps (RFC 9111,
5.2.2.5), unless its route says otherwise; what anybody may read is free to be kept.
"""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

NOT_KEPT = "private, no-store"


class KeepNothing:
    """Middleware that has the answers to whoever is known kept by nobody."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "GET" or not _is_known(scope):
            await self._app(scope, receive, send)
            return

        async def send_unkept(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).setdefault("Cache-Control", NOT_KEPT)
            await send(message)

        await self._app(scope, receive, send_unkept)


def _is_known(scope: Scope) -> bool:
    return any(
        name == b"authorization" or (name == b"cookie" and b"session-" in value)
        for name, value in scope["headers"]
    )

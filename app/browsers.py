"""What every answer tells a browser not to do: pages, files, documents and refusals alike.

What is no page can be opened like one all the same: a picture somebody sent, a paper, a refusal
that repeats what it was asked. So nothing is answered without these, and no route sets them itself.
"""

from __future__ import annotations

from collections.abc import Sequence

from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
"""Content Security Policy Level 3: nothing but this server's own files, nothing inline."""

HEADERS = {
    "Content-Security-Policy": POLICY,
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
ONLY_HTTPS = {"Strict-Transport-Security": "max-age=31536000"}
"""RFC 6797, for a year, where phones know this server by https. Not of its subdomains: the host may
be a club's own, and what else is served below it is not this server's to say."""

RAW = tuple((name.lower().encode(), value.encode()) for name, value in HEADERS.items())
"""As they go over the line."""
_RAW_ONLY_HTTPS = tuple((name.lower().encode(), one.encode()) for name, one in ONLY_HTTPS.items())


class TellBrowsers:
    """Middleware that adds them to whatever is answered."""

    def __init__(self, app: ASGIApp, *, secure: bool) -> None:
        self._app = app
        self._told: Sequence[tuple[bytes, bytes]] = (*RAW, *(_RAW_ONLY_HTTPS if secure else ()))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_told(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], *self._told]
            await send(message)

        await self._app(scope, receive, send_told)

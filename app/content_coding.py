"""No content codings: what is sent is taken as it is, so what says it is packed is refused.

A packed body would be taken for damaged; and where the header does not fit the body, somebody else
on the way may read something else than we do (RFC 9110, 8.4).
"""

from __future__ import annotations

from starlette.types import ASGIApp, Receive, Scope, Send

from app.problems import OTHERS, problem

_ADVICE = (
    "A content coding such as gzip is not taken here: send the content as it is, without the "
    "header “Content-Encoding”. Nothing was stored."
)


class RefuseCoded:
    """Middleware that answers a body with a content coding with a 415 and what is taken instead."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and any(
            name == b"content-encoding" and value.strip().lower() != b"identity"
            for name, value in scope["headers"]
        ):
            refused = problem(OTHERS[415], _ADVICE, {"Accept-Encoding": "identity"})
            await refused(scope, receive, send)
        else:
            await self._app(scope, receive, send)

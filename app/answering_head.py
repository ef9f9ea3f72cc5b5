"""HEAD wherever there is a GET: the same answer without its content (RFC 9110, 9.3.2)."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.attended import PAST_LAYERS


class AnswerHead:
    """Has a GET answered for a HEAD, and keeps its content back."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self._app(scope, receive, send)
            return

        async def send_head(message: Message) -> None:
            if message["type"] == "http.response.start":
                await send(message)
            elif message.get("more_body"):  # a live feed would go on for ever
                answering.cancel()

        asked = {**scope, "method": "GET", PAST_LAYERS: send_head}
        answering = asyncio.ensure_future(self._app(asked, receive, send_head))
        with suppress(asyncio.CancelledError):
            await answering
        await send({"type": "http.response.body", "body": b""})

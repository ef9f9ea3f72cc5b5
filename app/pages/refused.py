"""Refusals for people: whoever opens a page gets a page, with the words of the problem document."""

from __future__ import annotations

import json

from fastapi import Request, Response

from app.pages.rendering import Page, render
from app.problems import Handler

KEPT = frozenset({"allow", "retry-after"})
"""What a refusal says to whatever asked, beside its words."""


def as_page(handler: Handler) -> Handler:
    """The handler, whose answer becomes a page where a browser asked for one."""

    async def answer(request: Request, error: Exception) -> Response:
        document = await handler(request, error)
        if not wants_page(request):
            return document
        told = json.loads(bytes(document.body))
        shows = {name: told[name] for name in ("detail", "status")}
        shows["slug"] = told["type"].rpartition("/")[2]
        shows["needed"] = told.get("needed", [])
        kept = {name: value for name, value in document.headers.items() if name in KEPT}
        page = Page("refused.html", shows, status=document.status_code, headers=kept)
        return render(request, page, request.query_params.get("language"))

    return answer


def wants_page(request: Request) -> bool:
    """Whether a browser will show the answer: a page is opened or a form sent, by no script."""
    asks = request.headers.get("accept", "")
    return not request.url.path.startswith("/api/") and "text/html" in asks

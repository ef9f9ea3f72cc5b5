"""What each type of problem means, for people: the address that stands in a problem document as its
`type` is a page where a browser opens it. Programs get the same as JSON (`app/operating.py`).
"""

from __future__ import annotations

from fastapi import Request, Response
from fastapi.routing import APIRoute
from starlette.routing import Match
from starlette.types import Scope

from app.explaining import explained, explained_as
from app.guarded import for_readers
from app.pages.refused import wants_page
from app.pages.rendering import Language, Page, render

BY_ACCEPT = {"Vary": "Accept, Accept-Language, Accept-Encoding, Cookie"}


class ForBrowsers(APIRoute):
    """A route that whoever asks for no page passes by."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Nothing, where the answer is not shown by a browser."""
        match, found = super().matches(scope)
        return (match, found) if match is Match.NONE or _asks(scope) else (Match.NONE, {})


def _asks(scope: Scope) -> bool:
    return scope["type"] == "http" and wants_page(Request(scope))


router = for_readers(ForBrowsers)


@router.get("/problems")
async def show_problem_types(request: Request, language: Language = None) -> Response:
    """All types of problems, with the way to each."""
    page = Page("problem_types.html", {"types": explained()}, public=True, headers=BY_ACCEPT)
    return render(request, page, language)


@router.get("/problems/{slug}")
async def show_problem_type(slug: str, request: Request, language: Language = None) -> Response:
    """One type of problem: what it means, and what can be done; NotFound for any other."""
    shows = {"kind": explained_as(slug)}
    return render(
        request, Page("problem_type.html", shows, public=True, headers=BY_ACCEPT), language
    )

"""From a template and what it shows to an answer: language, headers, packing, ETag.

Pages are kept by nobody but where `public` says so: what the notice board shows is for everybody,
and what changes on it has another ETag.
"""

from __future__ import annotations

import gzip
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Annotated, Any

from fastapi import Query, Request, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.keeping import NOT_KEPT
from app.pages import wording
from app.pages.assets import LEAST_PACKED, address, digest, takes_packed
from app.pages.directions import apart
from app.pages.languages import COOKIE, Manner, choose, languages, name_of, translations
from app.pages.post_words import kept_post
from app.pages.security import HEADERS

TEMPLATES = Path(__file__).parent / "templates"
A_YEAR = 365 * 24 * 3600
PUBLIC = "public, max-age=5, stale-while-revalidate=30"

Language = Annotated[str | None, Query(max_length=10, description="the page's language, kept")]
"""Each page's route takes it, and hands it on to `page`."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page that is to be shown: its template, what it shows, and to whom."""

    template: str
    shows: Mapping[str, Any]
    zone: str = "UTC"
    status: int = 200
    public: bool = False
    headers: Mapping[str, str] = field(default_factory=dict)


def render(request: Request, page: Page, asked: str | None = None) -> Response:
    """A page as the browser gets it; 304 where it has just this one."""
    language = choose(
        asked, request.cookies.get(COOKIE), request.headers.get("accept-language", "")
    )
    content = (
        _environment(language)
        .get_template(page.template)
        .render(
            **page.shows,
            page_path=request.url.path,
            manner=Manner(language, page.zone),
            said=wording.In(translations(language)),
        )
        .encode()
    )
    headers = {
        **HEADERS,
        "Content-Language": language,
        "Cache-Control": PUBLIC if page.public else NOT_KEPT,
        "Vary": "Accept-Language, Accept-Encoding, Cookie",
        # Weak: the same words packed and not packed are different bytes (RFC 9110, 8.8.1).
        "ETag": f'W/"{hashlib.sha256(content).hexdigest()[:24]}"',
        **page.headers,
    }
    if page.status == 200 and headers["ETag"] in request.headers.get("if-none-match", ""):
        answer = Response(status_code=304, headers=headers)
    else:
        answer = _packed(request, content, page.status, headers)
    if asked in languages():
        answer.set_cookie(COOKIE, language, max_age=A_YEAR, samesite="lax", httponly=True)
    return answer


def _packed(request: Request, content: bytes, status: int, headers: dict[str, str]) -> Response:
    if len(content) >= LEAST_PACKED and takes_packed(request):
        content = gzip.compress(content, 5, mtime=0)
        headers = headers | {"Content-Encoding": "gzip"}
    return Response(content, status, headers, media_type="text/html")


@cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        extensions=["jinja2.ext.i18n", "jinja2.ext.do"],
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.install_gettext_translations(translations(language), newstyle=True)  # type: ignore[attr-defined]
    environment.filters["apart"] = apart
    environment.globals.update(
        asset=address,
        release=digest(),
        all_languages=languages(),
        language_name=name_of,
        kept_post=kept_post,
        problems=sorted(wording.WORDS["problem"]),
    )
    return environment

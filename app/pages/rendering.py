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
from urllib.parse import urlencode

from fastapi import Query, Request, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from app.access.cookies import is_secure
from app.answers import is_at_hand
from app.keeping import NOT_KEPT
from app.pages import wording
from app.pages.assets import LEAST_PACKED, address, takes_packed
from app.pages.directions import apart
from app.pages.languages import COOKIE, Manner, choose, languages, name_of, translations
from app.pages.opener_words import opener
from app.pages.post_words import kept_post
from app.services import services_of

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


@dataclass(frozen=True, slots=True)
class Written:
    """A page in one language, as everybody gets it who may see it."""

    content: bytes
    packed: bytes
    language: str
    status: int
    public: bool
    headers: Mapping[str, str]

    @property
    def tag(self) -> str:
        """Weak: the same words packed and not packed are different bytes (RFC 9110, 8.8.1)."""
        return f'W/"{hashlib.sha256(self.content).hexdigest()[:24]}"'


def render(request: Request, page: Page, asked: str | None = None) -> Response:
    """A page as the browser gets it; 304 where it has just this one."""
    sent = [(name, what) for name, what in request.query_params.multi_items() if name != "language"]
    written = write(page, language_for(request, asked), request.url.path, urlencode(sent))
    return send_written(request, written, asked)


def language_for(request: Request, asked: str | None) -> str:
    """The language of a page for whoever asks."""
    kept = request.cookies.get(_cookie(secure=_is_secure(request)))
    return choose(asked, kept, request.headers.get("accept-language", ""))


def _is_secure(request: Request) -> bool:
    return is_secure(services_of(request).settings)


def _cookie(*, secure: bool) -> str:
    """The name of the cookie with the language that was chosen; on https this very host's alone."""
    return f"{'__Host-' if secure else ''}{COOKIE}"


def write(page: Page, language: str, path: str, query: str) -> Written:
    """What a page says in a language; `query` is what its links to other languages ask for too."""
    template = _environment(language).get_template(page.template)
    content = template.render(
        **page.shows,
        page_path=path,
        page_query=query,
        manner=Manner(language, page.zone),
        said=wording.In(translations(language)),
    ).encode()
    packed = gzip.compress(content, 5, mtime=0) if len(content) >= LEAST_PACKED else content
    return Written(content, packed, language, page.status, page.public, page.headers)


def send_written(request: Request, written: Written, asked: str | None) -> Response:
    """The answer with a page; 304 where the browser has just this one."""
    tag = written.tag
    headers = {
        "Content-Language": written.language,
        "Cache-Control": PUBLIC if written.public else NOT_KEPT,
        "Vary": "Accept-Language, Accept-Encoding, Cookie",
        "ETag": tag,
        **written.headers,
    }
    if written.status == 200 and is_at_hand(request.headers.get("if-none-match"), tag):
        answer = Response(status_code=304, headers=headers)
    elif written.packed is not written.content and takes_packed(request):
        packed = headers | {"Content-Encoding": "gzip"}
        answer = Response(written.packed, written.status, packed, media_type="text/html")
    else:
        answer = Response(written.content, written.status, headers, media_type="text/html")
    if asked in languages():
        secure = _is_secure(request)
        answer.set_cookie(
            _cookie(secure=secure),
            written.language,
            max_age=A_YEAR,
            secure=secure,
            samesite="lax",
            httponly=True,
        )
    return answer


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
        all_languages=languages(),
        language_name=name_of,
        kept_post=kept_post,
        opener=opener,
        problems=sorted(wording.WORDS["problem"]),
    )
    return environment

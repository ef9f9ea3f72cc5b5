"""How answers are made: JSON with an ETag, 201 for what this call made, and preconditions.

A change says which version it changes: `If-Match` with the ETag that the caller has seen.
"""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Depends, Header, Response
from pydantic import BaseModel

from app.refusals import EtagUnknown, PreconditionMissing
from app.store.action import Put

_ETAG = re.compile(r'"v([1-9][0-9]{0,9})"')


def etag(version: int) -> str:
    """The strong ETag of a version."""
    return f'"v{version}"'


def answer(thing: BaseModel, *, version: int | None = None, created: bool = False) -> Response:
    """A document as JSON, with its ETag where it has versions."""
    headers = {} if version is None else {"ETag": etag(version)}
    return Response(
        thing.model_dump_json(),
        status_code=201 if created else 200,
        media_type="application/json",
        headers=headers,
    )


def answer_file(content: bytes, media_type: str, name: str, shown: str = "inline") -> Response:
    """A file that is made for whoever asks, kept by nobody on the way; `attachment` saves it."""
    headers = {
        "Cache-Control": "private, no-store",
        "Content-Disposition": f'{shown}; filename="{name}"',
    }
    return Response(content, media_type=media_type, headers=headers)


def answer_csv(written: str, name: str) -> Response:
    """The same of a list, with the mark by which spreadsheets know UTF-8."""
    return answer_file(written.encode("utf-8-sig"), "text/csv; charset=utf-8", name)


def answer_pdf(drawn: bytes, name: str, shown: str = "inline") -> Response:
    """The same of a paper."""
    return answer_file(drawn, "application/pdf", name, shown)


def answer_as_made(document: str) -> Response:
    """A document that was made for whoever asked before, as JSON."""
    return Response(document, media_type="application/json")


def answer_put(put: Put[BaseModel], *, version: int | None = None) -> Response:
    """The answer to a PUT with the caller's own id."""
    return answer(put.thing, version=version, created=put.created)


IfMatch = Annotated[str | None, Header(alias="If-Match")]


async def version_named(if_match: IfMatch = None) -> int | None:
    """The version an `If-Match` names, None where there is no such header."""
    return None if if_match is None else _read_etag(if_match)


async def version_required(if_match: IfMatch = None) -> int:
    """The version an `If-Match` names; PreconditionMissing where there is none."""
    if if_match is None:
        raise PreconditionMissing(
            "Say which version you are changing: send If-Match with the ETag you have seen."
        )
    return _read_etag(if_match)


def _read_etag(text: str) -> int:
    named = _ETAG.fullmatch(text.strip())
    if named is None:
        raise EtagUnknown(
            'If-Match must be the ETag that came with the thing, with its quotes, such as "v3". '
            "Read the thing again and send its ETag."
        )
    return int(named[1])


_GIVEN = re.compile(r'(?:W/)?("[^"]*")')


def is_at_hand(if_none_match: str | None, tag: str) -> bool:
    """Whether the caller has this already, by the ETags that it names (RFC 9110, 13.1.2: compared
    without regard to whether they are weak).
    """
    if if_none_match is None:
        return False
    return if_none_match.strip() == "*" or _opaque(tag) in _GIVEN.findall(if_none_match)


def _opaque(tag: str) -> str:
    return tag.removeprefix("W/")


IfNoneMatch = Annotated[str | None, Header(alias="If-None-Match")]
VersionNamed = Annotated[int | None, Depends(version_named)]
VersionRequired = Annotated[int, Depends(version_required)]

"""Style sheets, scripts and drawings of the pages, as they lie in `assets/`.

All of them have one digest in their address, so browsers keep them for ever and a new release is
fetched at once. Each is packed once, when it is first asked for; scripts go without the comments
that fill lines of their own, a sixth of what a phone on a bad line would wait for.
"""

from __future__ import annotations

import gzip
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path, PurePosixPath
from typing import Annotated

from fastapi import Path as InPath
from fastapi import Request, Response

from app.guarded import for_readers
from app.pages.linking import linked
from app.refusals import NotFound

FOLDER = Path(__file__).parent / "assets"
KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
PHONE = "zone/phone.js"
"""All modules of the zone official's page in one."""
FOR_EVER = "public, max-age=31536000, immutable"
LEAST_PACKED = 500
COMMENT = re.compile(rb"^[ \t]*(?://[^\n]*|/\*\*(?:(?!\*/).)*\*/[ \t]*)$", re.MULTILINE | re.DOTALL)

router = for_readers()


@dataclass(frozen=True, slots=True)
class Asset:
    """A file, plain and packed."""

    kind: str
    plain: bytes
    packed: bytes | None


@cache
def assets() -> dict[str, Asset]:
    """Every file by its path below the folder, and the phone's modules as one script."""
    found = {
        path.relative_to(FOLDER).as_posix(): path.read_bytes()
        for path in sorted(FOLDER.rglob("*"))
        if path.suffix in KINDS
    }
    found[PHONE] = linked("zone/zone.js", lambda name: found[name].decode()).encode()
    return {name: _asset(name, content) for name, content in found.items()}


def _asset(name: str, content: bytes) -> Asset:
    kind = PurePosixPath(name).suffix
    plain = without_comments(content) if kind == ".js" else content
    packs = kind != ".png" and len(plain) >= LEAST_PACKED
    return Asset(KINDS[kind], plain, gzip.compress(plain, 9, mtime=0) if packs else None)


def without_comments(script: bytes) -> bytes:
    """A script whose lines have the same numbers, so that an error names the line of the file."""
    return COMMENT.sub(lambda found: b"\n" * found[0].count(b"\n"), script)


@cache
def digest() -> str:
    """What names this release of all files together."""
    over = hashlib.sha256()
    for name, asset in assets().items():
        over.update(name.encode() + b"\0" + hashlib.sha256(asset.plain).digest())
    return over.hexdigest()[:12]


def address(name: str) -> str:
    """Where a file is fetched from; KeyError where there is none of that name."""
    return f"/assets/{digest()}/{name if name in assets() else _missing(name)}"


def _missing(name: str) -> str:
    raise KeyError(f"pages have no file {name}")


def packed_or_plain(asset: Asset, request: Request, headers: dict[str, str]) -> Response:
    """The file as the browser takes it."""
    answer = {**headers, "Vary": "Accept-Encoding"}
    if asset.packed is not None and takes_packed(request):
        return Response(
            asset.packed, media_type=asset.kind, headers=answer | {"Content-Encoding": "gzip"}
        )
    return Response(asset.plain, media_type=asset.kind, headers=answer)


def takes_packed(request: Request) -> bool:
    """Whether the browser unpacks gzip."""
    return "gzip" in request.headers.get("accept-encoding", "")


@router.get("/assets/{release}/{name:path}")
async def get_asset(
    release: Annotated[str, InPath(max_length=40)],
    name: Annotated[str, InPath(max_length=120)],
    request: Request,
) -> Response:
    """A file of the pages. A page of an older release gets the present file, but not for ever."""
    asset = assets().get(name)
    if asset is None:
        raise NotFound("The pages have no such file.")
    keep = FOR_EVER if release == digest() else "no-cache"
    return packed_or_plain(asset, request, {"Cache-Control": keep})

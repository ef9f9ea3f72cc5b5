"""A copy of a picture that is safe to show, made by a process of its own (`child.py`).

A copy that is rebuilt from pixels harms nobody who opens it, and tells neither where nor with what
it was taken (OWASP ASVS 5.0, 5.2.2 and 14.2.8); a picture with too many pixels is refused before it
is decoded (5.2.6).
"""

from __future__ import annotations

import asyncio
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from app.pictures import child
from app.refusals import Malformed

LARGEST_PICTURE = 16 * 1024 * 1024
"""A telephone's photograph has 3 to 8 MiB."""
LONGEST_WAIT = 20.0

# In each process: each may take the memory that a child may take, so never many at once.
_drawing = ThreadPoolExecutor(2, "pictures")


@dataclass(frozen=True, slots=True)
class Redrawn:
    """The copy, a JPEG of this size in pixels; `media_type` is what the original was."""

    jpeg: bytes
    width: int
    height: int
    media_type: str


async def redrawn(content: bytes) -> Redrawn:
    """The copy of a picture; Malformed for what is none, is damaged, or too large to decode."""
    return await asyncio.get_running_loop().run_in_executor(_drawing, redraw, content)


def redraw(content: bytes) -> Redrawn:
    """The same, waiting for it."""
    ended, said = _ask_child(content)
    if ended == child.REFUSED:
        raise Malformed(f"{said.decode()} Nothing was stored.")
    if ended != 0 or len(said) < child.HEAD.size:
        raise _not_decoded()
    kind, width, height, size = child.HEAD.unpack_from(said)
    jpeg = said[child.HEAD.size :]
    if len(jpeg) != size:  # what goes past its bound is cut off, on some systems without a word
        raise _not_decoded()
    return Redrawn(jpeg, width, height, kind.rstrip(b"\0").decode())


def _ask_child(content: bytes) -> tuple[int, bytes]:
    """How the child ended, and what it wrote: to a file, whose size is among its bounds."""
    with tempfile.TemporaryFile() as out:
        try:
            done = subprocess.run(  # noqa: S603 - this interpreter and a file of ours
                [sys.executable, "-I", child.__file__],
                input=content,
                stdout=out,
                stderr=subprocess.DEVNULL,
                timeout=LONGEST_WAIT,
                env={},
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise _not_decoded() from error
        out.seek(0)
        return done.returncode, out.read()


def _not_decoded() -> Malformed:
    return Malformed(
        "This picture is damaged, or takes too much to open. Send it again; if that does not help, "
        "make a screenshot of it and send that. Nothing was stored."
    )

"""Pictures that were spoilt or made to do harm: drawn anew from their pixels alone, or refused with
a way out, by a child that ends within its bounds.
"""

from __future__ import annotations

import resource
import struct
import time
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import pytest
from hypothesis import strategies as st

from app.pictures.child import LARGEST_COPY, LONGEST_EDGE, MEMORY, SECONDS
from app.pictures.redrawing import LARGEST_PICTURE, LONGEST_WAIT, Redrawn, redraw
from app.refusals import Malformed
from tests.fuzz.budget import TIMES, tried
from tests.fuzz.mutating import mutated
from tests.pictures.photographs import SECRETS, a_photograph, a_png_that_says, drawn, opened, saved

KINDS = ("JPEG", "PNG", "WEBP", "HEIF")
GOOD = [*(saved(drawn(), kind) for kind in KINDS), a_photograph()]
LATE = 10.0
"""By how much more a loaded machine may end a child, and read what it wrote."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """What became of a picture, in words where it was refused, and what that took: seconds of the
    processor, bytes at most (by this child or one before it), and seconds on the clock.
    """

    made: Redrawn | str
    worked: float
    held: int
    waited: float


def redraw_watched(content: bytes) -> Drawing:
    """For a process that has no other children: the system tells of all of them in one."""
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    try:
        made: Redrawn | str = redraw(content)
    except Malformed as refused:
        made = refused.detail
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    waited = time.monotonic() - began
    return Drawing(made, used.ru_utime - before.ru_utime, used.ru_maxrss * 1024, waited)


Watched = Callable[[bytes], Drawing]


@pytest.fixture(scope="module")
def watched() -> Iterator[Watched]:
    """Redraws in a process whose only children are those that draw: the browsers that other tests
    waited for are not among them, nor what these tests hold, which a child has until it begins.
    """
    with ProcessPoolExecutor(1, get_context("spawn")) as alone:
        yield lambda content: alone.submit(redraw_watched, content).result()


def was_drawn(drawing: Drawing) -> bool:
    """Whether it was: what is shown has nothing but pixels, and took no more than it may."""
    assert drawing.worked <= SECONDS + 1
    assert drawing.held <= MEMORY
    assert drawing.waited < LONGEST_WAIT + LATE
    copy = drawing.made
    if isinstance(copy, str):
        assert copy.endswith("Nothing was stored.")
        return False
    seen = opened(copy.jpeg)
    assert (seen.format, seen.mode, seen.size) == ("JPEG", "RGB", (copy.width, copy.height))
    assert max(seen.size) <= LONGEST_EDGE
    assert len(copy.jpeg) <= LARGEST_COPY
    assert not {"exif", "comment", "icc_profile", "xmp"} & seen.info.keys()
    assert not [secret for secret in SECRETS if secret in copy.jpeg]
    return True


def test_the_good_pictures_are_drawn(watched: Watched) -> None:
    assert all(was_drawn(watched(content)) for content in GOOD)


def test_what_a_child_takes_is_measured(watched: Watched) -> None:
    """Or its bounds would hold nothing."""
    drawing = watched(GOOD[-1])
    assert drawing.worked > 0.05
    assert drawing.held > 20 * 1024 * 1024


@tried(15, content=mutated(GOOD))
def test_a_spoilt_picture_is_drawn_or_refused(watched: Watched, content: bytes) -> None:
    was_drawn(watched(content))


EDGES = st.sampled_from([0, 1, 2, 60, 300, 8_000, 2**24, 2**31 - 1, 2**32 - 1])


@st.composite
def a_png(draw: st.DrawFn) -> bytes:
    """A PNG of parts that each fit, in any order and number (W3C PNG, third edition, 5 and 11)."""
    head = struct.pack(
        ">II5B",
        *(draw(EDGES), draw(EDGES), draw(st.sampled_from([1, 2, 4, 8, 16, 32]))),
        *(draw(st.sampled_from([0, 2, 3, 4, 6, 7])), 0, 0, draw(st.integers(0, 2))),
    )
    bodies = {
        b"IHDR": st.just(head),
        b"IDAT": st.sampled_from([b"", zlib.compress(bytes(100_000)), b"\x78\x9c" + b"\xff" * 40]),
        b"PLTE": st.sampled_from([b"", bytes(3), bytes(900)]),
        b"tRNS": st.binary(max_size=8),
        b"iCCP": st.just(b"x\0\0" + zlib.compress(bytes(30_000_000))),
        b"zTXt": st.just(b"x\0\0" + zlib.compress(bytes(30_000_000))),
        b"eXIf": st.sampled_from([b"", b"II*\0\x08\0\0\0\xff\xff", b"MM\0*" + b"\xff" * 60]),
        b"acTL": st.just(struct.pack(">II", 2**31 - 1, 0)),
        b"fcTL": st.just(struct.pack(">5I2H2B", 0, 2**31 - 1, 2**31 - 1, 0, 0, 1, 1, 0, 0)),
    }
    names = [b"IHDR", *draw(st.lists(st.sampled_from(sorted(bodies)), max_size=5)), b"IDAT"]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        [*(a_part(name, draw(bodies[name])) for name in names), a_part(b"IEND", b"")]
    )


def a_part(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


@tried(10, content=a_png())
def test_a_png_of_any_parts_is_drawn_or_refused(watched: Watched, content: bytes) -> None:
    was_drawn(watched(content))


SCAN = b"\xff\xda\0\x0c\3\1\0\2\0\3\0\0\0\0" + bytes(8)
HARM: dict[str, Callable[[], bytes]] = {
    "as large as any may be, of nothing": lambda: bytes(LARGEST_PICTURE),
    "a JPEG of comments": lambda: b"\xff\xd8" + b"\xff\xfe\xff\xff" * 400 + bytes(1_000_000),
    "a JPEG of many scans": lambda: a_jpeg_of_scans(100 * TIMES),
    "a PNG one pixel high": lambda: a_png_that_says(64_000_000, 1, bytes(64_000_001)),
    "a PNG one pixel wide": lambda: a_png_that_says(1, 8_000_000, bytes(16_000_000)),
    "a WebP of the largest edges": lambda: WEBP[:21] + b"\xff\xff\xff\x0f" + WEBP[25:],
}
WEBP = saved(drawn(), "WEBP", lossless=True)


def a_jpeg_of_scans(many: int) -> bytes:
    whole = saved(drawn(2_000, 2_000), "JPEG", progressive=True)
    return whole[:-2] + SCAN * many + whole[-2:]


@pytest.mark.slow
@pytest.mark.parametrize("what", HARM)
def test_a_picture_made_to_do_harm_is_drawn_or_refused(watched: Watched, what: str) -> None:
    was_drawn(watched(HARM[what]()))

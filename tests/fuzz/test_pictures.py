"""Pictures that were spoilt or made to do harm: drawn anew from their pixels alone, or refused with
a way out, by a child that ends within its bounds.
"""

from __future__ import annotations

import resource
import struct
import time
import zlib
from collections.abc import Callable

import pytest
from hypothesis import strategies as st

from app.pictures.child import LARGEST_COPY, LONGEST_EDGE, MEMORY, SECONDS
from app.pictures.redrawing import LARGEST_PICTURE, LONGEST_WAIT, redraw
from app.refusals import Malformed
from tests.fuzz.budget import TIMES, tried
from tests.fuzz.mutating import mutated
from tests.pictures.photographs import SECRETS, a_photograph, a_png_that_says, drawn, opened, saved

KINDS = ("JPEG", "PNG", "WEBP", "HEIF")
GOOD = [*(saved(drawn(), kind) for kind in KINDS), a_photograph()]
LATE = 10.0
"""By how much more a loaded machine may end a child, and read what it wrote."""


def redraw_calmly(content: bytes) -> bool:
    """Whether it was drawn: what is shown has nothing but pixels."""
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    try:
        copy = redraw(content)
    except Malformed as refused:
        assert refused.detail.endswith("Nothing was stored.")  # noqa: PT017 (or none is raised)
        return False
    finally:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        assert used.ru_utime - before <= SECONDS + 1
        assert used.ru_maxrss * 1024 <= MEMORY
        assert time.monotonic() - began < LONGEST_WAIT + LATE
    seen = opened(copy.jpeg)
    assert (seen.format, seen.mode, seen.size) == ("JPEG", "RGB", (copy.width, copy.height))
    assert max(seen.size) <= LONGEST_EDGE
    assert len(copy.jpeg) <= LARGEST_COPY
    assert not {"exif", "comment", "icc_profile", "xmp"} & seen.info.keys()
    assert not [secret for secret in SECRETS if secret in copy.jpeg]
    return True


def test_the_good_pictures_are_drawn() -> None:
    assert all(map(redraw_calmly, GOOD))


@tried(15, content=mutated(GOOD))
def test_a_spoilt_picture_is_drawn_or_refused(content: bytes) -> None:
    redraw_calmly(content)


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
def test_a_png_of_any_parts_is_drawn_or_refused(content: bytes) -> None:
    redraw_calmly(content)


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
def test_a_picture_made_to_do_harm_is_drawn_or_refused(what: str) -> None:
    redraw_calmly(HARM[what]())

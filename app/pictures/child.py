"""Draws a picture anew, as a process of its own: the original comes in, a JPEG goes out.

What decodes pictures is large and old code, and files can be made to harm it. So it runs apart, by
this file alone, with so much memory and time and no more. From the original nothing is taken but
its pixels, turned upright: no place, no device, no comment, no colour profile.

Exit 0 and the JPEG; exit 3 and, in words, why it is refused. Anything else is a picture that could
not be decoded within its bounds.
"""

from __future__ import annotations

import io
import os
import resource
import struct
import sys

from pi_heif import register_heif_opener
from PIL import Image, ImageOps, UnidentifiedImageError

OPENED = ("JPEG", "PNG", "WEBP", "HEIF")
FORMATS = {
    "JPEG": "image/jpeg",
    "MPO": "image/jpeg",  # what a JPEG turns out to be that holds further pictures
    "PNG": "image/png",
    "WEBP": "image/webp",
    "HEIF": "image/heic",
}
MOST_PIXELS = 64_000_000
LONGEST_EDGE = 2_560
QUALITY = 85
MEMORY = 1_536 * 1024 * 1024
SECONDS = 10
LARGEST_COPY = 16 * 1024 * 1024
REFUSED = 3
WHITE = (255, 255, 255)
HEAD = struct.Struct("<10sIII")
"""Before the JPEG: what the original was, how wide and high the copy is, and its bytes."""


class NoPicture(Exception):
    """Why this is not taken, in words."""


def redraw(content: bytes) -> bytes:
    """The head and the JPEG of a picture; NoPicture for what is none, or too large."""
    original = _opened(content)
    _insist_small_enough(original)
    # A JPEG is decoded at a half, a quarter or an eighth where that is still large enough.
    original.draft("RGB", (LONGEST_EDGE, LONGEST_EDGE))
    upright = ImageOps.exif_transpose(original)
    upright.thumbnail((LONGEST_EDGE, LONGEST_EDGE))
    pixels = _on_white(upright)
    # Saving the picture itself would keep what came with it, a JPEG's comment for one.
    bare = Image.frombytes("RGB", pixels.size, pixels.tobytes())
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=QUALITY)
    return told(FORMATS[original.format or ""], bare.size, out.getvalue())


def told(kind: str, size: tuple[int, int], jpeg: bytes) -> bytes:
    """A copy as it is handed over."""
    return HEAD.pack(kind.encode(), *size, len(jpeg)) + jpeg


def _opened(content: bytes) -> Image.Image:
    try:
        return Image.open(io.BytesIO(content), formats=OPENED)
    except UnidentifiedImageError as error:
        raise NoPicture(
            "This is no picture that can be read: send a JPEG, PNG, WebP or HEIC file."
        ) from error
    except Image.DecompressionBombError as error:
        raise NoPicture(_too_many()) from error


def _insist_small_enough(original: Image.Image) -> None:
    width, height = original.size
    if width * height > MOST_PIXELS:
        raise NoPicture(_too_many())


def _too_many() -> str:
    return (
        f"This picture has more than {MOST_PIXELS // 1_000_000} million pixels. Send it smaller: "
        "take it with a lower resolution, or make a screenshot of it."
    )


def _on_white(picture: Image.Image) -> Image.Image:
    """What can be seen through stands on white; of sixteen bits of grey the upper eight count."""
    if picture.mode.startswith("I"):
        return picture.convert("I").point(lambda grey: grey / 256).convert("L").convert("RGB")
    if not picture.has_transparency_data:
        return picture.convert("RGB")
    seen = picture.convert("RGBA")
    ground = Image.new("RGBA", seen.size, (*WHITE, 255))
    return Image.alpha_composite(ground, seen).convert("RGB")


def main() -> int:
    """Read the original from standard input and write the copy to standard output."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_COPY, LARGEST_COPY))
    os.nice(10)  # reports come first
    Image.MAX_IMAGE_PIXELS = MOST_PIXELS
    register_heif_opener(thumbnails=False)
    ended = 0
    try:
        said = redraw(sys.stdin.buffer.read())
    except NoPicture as refused:
        said, ended = str(refused).encode(), REFUSED
    sys.stdout.buffer.write(said)
    return ended


if __name__ == "__main__":
    sys.exit(main())

"""Pictures as telephones send them, drawn here; what reads them back is the library's own."""

from __future__ import annotations

import io
import struct
import zlib

import pillow_heif
from PIL import Image, ImageCms

RED, BLUE = (200, 30, 30), (30, 30, 200)
SECRETS = (b"GPS-SECRET", b"XMP-SECRET", b"COMMENT-SECRET", b"DEVICE-SECRET", b"ICC_PROFILE")
"""What stands beside the pixels of `a_photograph`."""
ORIENTATION, MAKE, GPS, GPS_AREA = 0x0112, 0x010F, 0x8825, 0x001C
"""Tags of the Exif standard (CIPA DC-008, tables 4 and 15), from memory."""


def drawn(width: int = 60, height: int = 40, mode: str = "RGB") -> Image.Image:
    """The left half red, the right half blue."""
    picture = Image.new(mode, (width, height), RED)
    picture.paste(BLUE, (width // 2, 0, width, height))
    return picture


def saved(picture: Image.Image, kind: str, **more: object) -> bytes:
    out = io.BytesIO()
    if kind == "HEIF":
        pillow_heif.from_pillow(picture).save(out, quality=90)
    else:
        picture.save(out, kind, **more)
    return out.getvalue()


def a_photograph() -> bytes:
    """A JPEG that lies on its side and tells where, when and with what it was taken."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # the first row is the right-hand side: shown, it is turned clockwise
    exif[MAKE] = "DEVICE-SECRET"
    exif.get_ifd(GPS)[GPS_AREA] = b"GPS-SECRET"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return saved(
        drawn(),
        "JPEG",
        exif=exif,
        comment=b"COMMENT-SECRET",
        xmp=b"<x:xmpmeta>XMP-SECRET</x:xmpmeta>",
        icc_profile=profile,
    )


def a_png_that_says(width: int, height: int, rows: bytes = b"") -> bytes:
    """A PNG (W3C PNG, third edition, 11.2) that says how large it is, with these of its rows."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = [(b"IHDR", head), (b"IDAT", zlib.compress(rows)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(_part(name, body) for name, body in parts)


def _part(name: bytes, body: bytes) -> bytes:
    checked = struct.pack(">I", zlib.crc32(name + body))
    return struct.pack(">I", len(body)) + name + body + checked


def opened(content: bytes) -> Image.Image:
    picture = Image.open(io.BytesIO(content))
    picture.load()
    return picture


def is_like(pixel: object, colour: tuple[int, int, int]) -> bool:
    """Whether a pixel has this colour, but for what compression changes."""
    assert isinstance(pixel, tuple)
    return all(abs(one - other) < 40 for one, other in zip(pixel, colour, strict=True))

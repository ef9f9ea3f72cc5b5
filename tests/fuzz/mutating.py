"""Files that were good: cut off, with bytes turned over, with parts twice, of another file, or of
what readers stumble over.
"""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

NUMBERS = (b"9" * 5000, b"-1", b"1e999", b"NaN", b"18446744073709551616", b"\xff\xff\xff\xff")
NESTED = (b"[" * 3000, b"{" * 3000, b"[\n" * 3000, b"<a>" * 300)
MARKUP = (b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"<![CDATA[", b"&a;", b"<?xml encoding='cp037'?>")
LETTERS = (
    *(b"\0", b"\0" * 4096, b"\xff\xfe", b"\xfe\xff", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"\x1a"),
    *("\u202e".encode(), "\U000e0041".encode(), "\ufdfa".encode() * 300, b"\\ud800"),
)
MARKS = (
    *(b'"', b"'''", b"," * 2000, b"\r" * 300, b"=cmd|' /C calc'!A0"),
    *(b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06", b"PK\x06\x06", b"PK\x06\x07"),
    *(b"\xff\xd8\xff", b"\xff\xda", b"IHDR", b"IDAT", b"eXIf", b"VP8X", b"ftypheic", b"%PDF-"),
)
HOSTILE = (*NUMBERS, *NESTED, *MARKUP, *LETTERS, *MARKS)


@st.composite
def mutated(draw: st.DrawFn, good: Sequence[bytes]) -> bytes:
    """One of the good files after one to six such changes."""
    content = bytearray(draw(st.sampled_from(good)))
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(content)))
        until = min(len(content), at + draw(st.sampled_from((0, 1, 2, 4, 30, 400))))
        content[at:until] = draw(_instead(bytes(content[at:until]), good))
        if draw(st.integers(0, 9)) == 9:
            del content[draw(st.integers(0, len(content))) :]
    return bytes(content)


def _instead(there: bytes, good: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """What stands in a part's place: noise, its bytes turned over, or twice, or what is hostile."""
    turned = st.integers(1, 255).map(lambda mask: bytes(byte ^ mask for byte in there))
    other = st.sampled_from(good).flatmap(
        lambda one: st.integers(0, len(one)).map(lambda at: one[at : at + 200])
    )
    hostile = st.sampled_from(HOSTILE)
    return st.one_of(turned, st.just(there * 2), st.binary(max_size=8), hostile, other)


def with_one_byte_turned(good: bytes, places: Sequence[int]) -> st.SearchStrategy[bytes]:
    """The file with a single byte that is another one, at one of the places."""

    def turned(at: int, mask: int) -> bytes:
        return good[:at] + bytes([good[at] ^ mask]) + good[at + 1 :]

    return st.builds(turned, st.sampled_from(places), st.integers(1, 255))

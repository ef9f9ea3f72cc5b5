"""The RFC 8785 form, against the library and the RFC's own example."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from enum import StrEnum
from hashlib import sha256
from itertools import islice
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from app.record.canonical import canonical

WORDS = st.text(st.characters(exclude_categories=["Cs"]))
NUMBERS = st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
DOCUMENTS = st.recursive(
    st.none() | st.booleans() | NUMBERS | WORDS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORDS, inner, max_size=4),
    max_leaves=20,
)


@given(DOCUMENTS)
def test_every_document_gets_the_form_that_the_library_gives_it(document: object) -> None:
    assert canonical(document) == rfc8785.dumps(document)  # type: ignore[arg-type]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_is_written_as_ecmascript_writes_it(number: float) -> None:
    assert canonical([number]) == rfc8785.dumps([number])


def test_the_example_of_the_rfc() -> None:
    # Source: RFC 8785, section 3.2.2 and 3.2.3, the sample object and its canonical form.
    document = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
        "literals": [None, True, False],
    }
    expected = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical(document).decode() == expected


def published_numbers() -> Iterator[int]:
    """The bits of the numbers of RFC 8785's published test file (appendix B names its maker): hard
    ones, then the smallest normal ones, then as SHA-256 over and over makes them.
    """
    hard = Path(__file__).parent / "published" / "number_vectors.txt"
    yield from (int(bits, 16) for bits in hard.read_text().split())
    yield from range(0x0010_0000_0000_0000, 0x0010_0000_0000_0000 + 2000)
    block = bytes(32)
    while True:
        block = sha256(block).digest()
        for (number,) in struct.iter_unpack("<d", block):
            if number and abs(number) < float("inf"):
                yield int.from_bytes(struct.pack(">d", number))


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (1_000, "be18b62b6f69cdab33a7e0dae0d9cfa869fda80ddc712221570f9f40a5878687"),
        (10_000, "b9f7a8e75ef22a835685a52ccba7f7d6bdc99e34b010992cbc5864cd12be6892"),
    ],
)
def test_the_published_numbers_are_written_as_their_published_digest_asks(
    lines: int, expected: str
) -> None:
    # Source: github.com/cyberphone/json-canonicalization, testdata/README.md, ES6 Numbers.
    told = sha256()
    for bits in islice(published_numbers(), lines):
        (number,) = struct.unpack(">d", bits.to_bytes(8))
        told.update(f"{bits:x},{canonical([number])[1:-1].decode()}\n".encode())
    assert told.hexdigest() == expected


@pytest.mark.parametrize("wrong", [float("nan"), float("inf"), "\ud800", 2**53, {1: 2}])
def test_what_json_cannot_carry_is_refused(wrong: object) -> None:
    with pytest.raises((ValueError, rfc8785.CanonicalizationError)):
        canonical([wrong])


class Word(StrEnum):
    """A word of a closed list, as findings hold them."""

    GOOD = "good"


def test_words_of_closed_lists_and_tuples_are_written_as_text_and_lists() -> None:
    assert canonical({"b": (Word.GOOD, 1), "a": [Word.GOOD]}) == b'{"a":["good"],"b":["good",1]}'

"""The RFC 8785 form of a document: the same bytes for the same content, wherever it is written.

For text, whole numbers and everyday fractions under ASCII names, the validation library's encoder
writes just that form once the names are in order, ten times as fast as the general one. Whatever
else a document holds goes to the library for RFC 8785; a property test holds the two together.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Any

import rfc8785
from pydantic_core import to_json

LARGEST_WHOLE = 2**53 - 1
"""RFC 8785, 3.2.2.3: whole numbers are safe up to here (IEEE 754 doubles)."""


class _NotPlain(Exception):
    """A value that the fast encoder would write in another way than RFC 8785 asks for."""


def canonical(document: Any) -> bytes:
    """The document's RFC 8785 form; ValueError for what JSON cannot carry (NaN, half a letter)."""
    try:
        ordered = _in_order(document)
    except _NotPlain:
        return rfc8785.dumps(document)
    return to_json(ordered)


def digest_of(document: Any) -> str:
    """The SHA-256 of a document's RFC 8785 form, in hex."""
    return sha256(canonical(document)).hexdigest()


def _in_order(value: Any) -> Any:
    """The same value with the names of its objects in order; _NotPlain where that is not enough."""
    kind = type(value)
    if kind is str or value is None or kind is bool:
        return value
    if kind is dict:
        ordered = {}
        for name in sorted(value):
            if type(name) is not str or not name.isascii():
                raise _NotPlain
            inner = value[name]
            ordered[name] = inner if type(inner) is str else _in_order(inner)
        return ordered
    if isinstance(value, str):
        return str(value)
    if kind is int and -LARGEST_WHOLE <= value <= LARGEST_WHOLE:
        return value
    # Within these bounds both write the same shortest digits as ECMAScript; a whole number kept as
    # a float would get a ".0" that ECMAScript leaves out.
    if kind is float and 1e-4 <= abs(value) < 1e15 and not value.is_integer():
        return value
    if kind is list or kind is tuple:
        return [_in_order(inner) for inner in value]
    raise _NotPlain

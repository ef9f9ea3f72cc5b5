"""The RFC 8785 form of a document: the same bytes for the same content, wherever it is written.

For text, whole numbers and everyday fractions under ASCII names, the standard encoder writes just
that form, several times as fast as the general one. Whatever else a document holds goes to the
library; a property test holds the two together.
"""

from __future__ import annotations

import json
from typing import Any

import rfc8785

_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode

LARGEST_WHOLE = 2**53 - 1
"""RFC 8785, 3.2.2.3: whole numbers are safe up to here (IEEE 754 doubles)."""


def canonical(document: Any) -> bytes:
    """The document's RFC 8785 form; ValueError for what JSON cannot carry (NaN, half a letter)."""
    return _encode(document).encode() if _is_plain(document) else rfc8785.dumps(document)


def _is_plain(value: Any) -> bool:
    """Whether the standard encoder writes this value the way RFC 8785 asks for."""
    if isinstance(value, str) or value is None or isinstance(value, bool):
        return True
    if isinstance(value, int):
        return -LARGEST_WHOLE <= value <= LARGEST_WHOLE
    if isinstance(value, float):
        # Within these bounds Python and ECMAScript write the same shortest digits; a whole number
        # kept as a float would get a ".0" that ECMAScript leaves out.
        return 1e-4 <= abs(value) < 1e15 and not value.is_integer()
    if isinstance(value, dict):
        return all(
            isinstance(name, str) and name.isascii() and _is_plain(inner)
            for name, inner in value.items()
        )
    return isinstance(value, list | tuple) and all(map(_is_plain, value))

"""A caller's own header names for the columns of a file, as a JSON object in the query."""

from __future__ import annotations

import json

from app.refusals import Malformed


def header_names(text: str) -> dict[str, str]:
    """The file's header → our column; Malformed shows what it should look like."""
    try:
        names = json.loads(text)
    except (ValueError, RecursionError):
        names = None
    if not isinstance(names, dict) or not all(isinstance(name, str) for name in names.values()):
        raise Malformed(
            'The header names must be a JSON object such as {"Bahn":"lane"}.', field="query columns"
        )
    return names

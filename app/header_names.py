"""Files in the body of a request: their kinds, their bound, and a caller's own header names for
their columns, as a JSON object in the query.
"""

from __future__ import annotations

import json
from typing import Annotated

from fastapi import Query

from app.refusals import Malformed

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
LARGEST_LIST = 8 * 1024 * 1024

ColumnNames = Annotated[
    str,
    Query(max_length=2000, description='own header names: {"Bahn":"lane","Mannschaft":"team"}'),
]


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

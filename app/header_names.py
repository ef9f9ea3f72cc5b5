"""Files in the body of a request: their kinds, their bound, and a caller's own header names for
their columns, as a JSON object in the query.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Annotated, Any, TypeVar

from fastapi import Query, Request
from starlette.concurrency import run_in_threadpool

from app.refusals import Malformed

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
LARGEST_LIST = 8 * 1024 * 1024
A_LIST: dict[str, Any] = {"requestBody": {"required": True, "content": {"text/csv": {}, XLSX: {}}}}
"""What the description of a route says of a list in its body."""

Found = TypeVar("Found")

ColumnNames = Annotated[
    str,
    Query(max_length=2000, description='own header names: {"Bahn":"lane","Mannschaft":"team"}'),
]


def header_names(text: str) -> dict[str, str]:
    """The file's header → our column; Malformed shows what it should look like."""
    try:
        names = json.loads(text)
        json.dumps(names, ensure_ascii=False).encode()  # half a pair of surrogates is no name
    except (ValueError, RecursionError):
        names = None
    if not isinstance(names, dict) or not all(isinstance(name, str) for name in names.values()):
        raise Malformed(
            'The header names must be a JSON object such as {"Bahn":"lane"}.', field="query columns"
        )
    return names


async def list_sent(
    request: Request, columns: str, read: Callable[[bytes, Mapping[str, str]], Found]
) -> Found:
    """What is read of the list in a request's body, away from the loop that answers others."""
    return await run_in_threadpool(read, await request.body(), header_names(columns))

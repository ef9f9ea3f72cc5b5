"""Has this been sent before? A phone may send a flag or a report again for ever.

A flag raises a report, and an account may come first: both look for it and add it here.
"""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from pydantic_core import to_json
from sqlalchemy import bindparam, insert, select

from app.access.queries import Caller
from app.refusals import IdTaken
from app.reports.tables import reports
from app.store.action import Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.wire import Wire

REPORT_BY_ID = Prepared(select(reports).where(reports.c.id == bindparam("report")))
ADD_REPORT = Prepared(insert(reports))


def said(sent: Wire) -> tuple[dict[str, Any], str]:
    """What was sent, as a document, and its SHA-256: two sendings of one thing have the same.

    Made before the action is queued, since the writer's time is the dearest.
    """
    document = sent.model_dump(mode="json")
    document.pop("signature", None)  # how it is signed is no part of what it says
    return document, sha256(to_json(document)).hexdigest()


def insist_same(known: AnyRow, unit: Unit, caller: Caller, content: str, what: str) -> None:
    """IdTaken unless the same person sent the same content at this meet."""
    same_author = known.meet_id == unit.meet_id and known.official_id == caller.official_id
    if not same_author or known.content != content:
        raise IdTaken(what, known.id)

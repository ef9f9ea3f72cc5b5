"""What was fixed when an act was signed, as an erasure leaves it.

What its form tells is changed where it names somebody, so its digest is no longer the one that was
signed. The erasure's own entry says which digest it has now: whoever changes it otherwise is found
out as before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Connection

from app.checking.queries import all_kept
from app.erasing.plan import Plan
from app.ids import MeetId
from app.sealing.as_signed import (
    Left,
    as_told_by_erasure,
    is_as_signed,
    what_erasures_left,
)

FACTS = {"rulings": "form_facts", "decisions": "form_facts", "announcements": "snapshot"}


def facts_left(conn: Connection, meet_id: MeetId, plan: Plan) -> list[dict[str, str]]:
    """For each act whose facts are changed, or whose entry loses its body: what it tells then. And
    the last word of each act that an erasure names whose own entry goes: of several the last one
    counts, so an earlier one that is told again must not come after it.

    What was not as it was signed before is left out, so that nobody takes it for that afterwards.
    """
    left = what_erasures_left(conn, meet_id)
    again = {one["of"]: left.last[one["of"]] for one in plan.left_as if one["of"] in left.last}
    now = {one["of"]: one for one in _facts_left(conn, meet_id, plan, left)}
    return list({**again, **now}.values())


def _facts_left(
    conn: Connection, meet_id: MeetId, plan: Plan, left: Left
) -> Iterator[dict[str, str]]:
    changed = _changed(plan)
    for kept in all_kept(conn, meet_id):
        goes = kept.statement_sha256 in plan.digests
        if (goes or kept.act in changed) and is_as_signed(conn, meet_id, kept, left):
            yield as_told_by_erasure(kept, changed.get(kept.act, kept.facts))


def _changed(plan: Plan) -> Mapping[str, Any]:
    """The facts that are changed, by the id of the act."""
    return {
        str(change.key["id"]): change.values[FACTS[change.table.name]]
        for change in plan.changes
        if FACTS.get(change.table.name) in change.values
    }

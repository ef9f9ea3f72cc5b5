"""What was done to the whole heat that a case file is about: starts, and announcements.

These entries tell of all teams. So they belong to a file without what they say, and are proved to
stand in the record all the same: windows count from when the result was announced.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection

from app.casefiles.queries import announced_in, entries_with
from app.clock import rfc3339
from app.exporting.queries import Recorded
from app.ids import HeatId, MeetId
from app.record.kinds import KINDS, Kind
from app.store.rows import AnyRow

STARTS = {
    Kind.HEAT_STARTED: "The heat was started.",
    Kind.HEAT_HELD_BACK: KINDS[Kind.HEAT_HELD_BACK].sentence,
    Kind.HEAT_NOT_HELD: KINDS[Kind.HEAT_NOT_HELD].sentence,
}


@dataclass(frozen=True, slots=True)
class Around:
    """An entry about the whole heat: when it happened, in words, and what of it the file may tell
    where its body would stand.
    """

    entry: Recorded
    at: datetime
    words: str
    says: Mapping[str, object] = field(default_factory=dict)


def around_heat(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> tuple[Around, ...]:
    """What was done to a heat as a whole, in the record's order."""
    made = {row.id: row for row in announced_in(conn, heat_id)}
    found = entries_with(conn, meet_id, (heat_id, *made))
    return tuple(_around(found, made))


def _around(found: list[Recorded], made: Mapping[str, AnyRow]) -> Iterator[Around]:
    for one in found:
        at = datetime.fromisoformat(json.loads(one.entry)["at"])
        if one.kind in STARTS:
            yield Around(one, at, STARTS[one.kind])
        elif one.kind is Kind.ANNOUNCEMENT:
            yield _announced(one, made[one.subject])
        elif one.kind is Kind.ANNOUNCEMENT_TIME_CORRECTED:
            number = made[one.subject].number
            words = f"The time of announcement {number} was corrected: it had been typed wrongly."
            yield Around(one, at, words, {"announcement": number})


def _announced(one: Recorded, row: AnyRow) -> Around:
    """With the time that counts, as it was corrected where it was."""
    says = {"announced_at": rfc3339(row.announced_at), "announcement": row.number}
    words = f"The result was announced: announcement {row.number}."
    return Around(one, row.announced_at, words, says)

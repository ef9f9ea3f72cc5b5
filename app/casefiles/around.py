"""What was done to the whole heat that a case file is about: starts, and announcements.

These entries tell of all teams. So they belong to a file without what they say, and are proved to
stand in the record all the same: windows count from when the result was announced.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy import Connection

from app.casefiles.queries import announced_in, entries_with
from app.clock import rfc3339
from app.exporting.queries import Recorded
from app.ids import CaseId, HeatId, MeetId
from app.record.kinds import KINDS, Kind
from app.results.announcement_wire import AnnouncementOut
from app.results.wire import BlockersOut
from app.store.rows import AnyRow

STARTS = {
    Kind.HEAT_STARTED: "The heat was started.",
    Kind.HEAT_HELD_BACK: KINDS[Kind.HEAT_HELD_BACK].sentence,
    Kind.HEAT_NOT_HELD: KINDS[Kind.HEAT_NOT_HELD].sentence,
}


@dataclass(frozen=True, slots=True)
class Around:
    """An entry about the whole heat: when it happened, in words, and what of it the file may tell
    where its body would stand. `digest` is that of an announcement's statement.
    """

    entry: Recorded
    at: datetime
    words: str
    says: Mapping[str, object] = field(default_factory=dict)
    digest: str = ""


def around_heat(
    conn: Connection, meet_id: MeetId, heat_id: HeatId, cases: Collection[CaseId]
) -> tuple[Around, ...]:
    """What was done to a heat as a whole, in the record's order, as a file of these cases tells."""
    made = {row.id: row for row in announced_in(conn, heat_id)}
    found = entries_with(conn, meet_id, (heat_id, *made))
    return tuple(_around(found, made, cases))


def _around(
    found: list[Recorded], made: Mapping[str, AnyRow], cases: Collection[CaseId]
) -> Iterator[Around]:
    for one in found:
        at = datetime.fromisoformat(json.loads(one.entry)["at"])
        if one.kind in STARTS:
            yield Around(one, at, STARTS[one.kind])
        elif one.kind is Kind.ANNOUNCEMENT:
            yield _announced(one, made[one.subject], cases)
        elif one.kind is Kind.ANNOUNCEMENT_TIME_CORRECTED:
            number = made[one.subject].number
            words = f"The time of announcement {number} was corrected: it had been typed wrongly."
            yield Around(one, at, words, {"announcement": number})


def _announced(one: Recorded, row: AnyRow, cases: Collection[CaseId]) -> Around:
    """With the time that counts, as it was corrected where it was."""
    says = {"announced_at": rfc3339(row.announced_at), "announcement": row.number}
    words = f"The result was announced: announcement {row.number}."
    despite = _despite(AnnouncementOut.model_validate(row.snapshot), cases)
    return Around(one, row.announced_at, f"{words}{despite}", says, row.statement_digest)


def _despite(told: AnnouncementOut, cases: Collection[CaseId]) -> str:
    """That it was announced although posts were silent, and why; without the reason where it can
    tell of another case.
    """
    if not told.despite:
        return ""
    stood = told.blockers
    other = {*stood.open_cases} - {*cases} or stood.shaken_rulings or stood.awaited_accounts
    if not other and not stood.shaken_disqualifications:
        return f" It was announced although {stood.aloud}, for: {told.despite}"
    if not stood.silent_posts:
        return ""
    silent = BlockersOut(silent_posts=stood.silent_posts, open_cases=[]).aloud
    return f" It was announced although {silent}; the announcement says why."

"""How often was a report returned to its umpire, what was asked, and what became of it?

A report's own row holds its last account only, so the record's entries about it are read. Whoever
rules names the version of the case that they have read; so what changed it before stands in the
record by then. Said in words by `reported`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby, zip_longest

from sqlalchemy import Connection, and_, bindparam, select

from app.access.names import NamesThen
from app.ids import MeetId, ReportId
from app.record.kinds import Kind
from app.record.tables import record_bodies, record_entries
from app.store.rows import AnyRow

_ABOUT_REPORTS = (
    select(
        record_entries.c.subject,
        record_entries.c.kind,
        record_entries.c.entry,
        record_bodies.c.body,
    )
    .outerjoin(
        record_bodies,
        and_(
            record_bodies.c.meet_id == record_entries.c.meet_id,
            record_bodies.c.seq == record_entries.c.seq,
        ),
    )
    .where(
        record_entries.c.meet_id == bindparam("meet"),
        record_entries.c.subject.in_(bindparam("reports", expanding=True)),
        record_entries.c.kind.in_(
            [Kind.REPORT_WRITTEN, Kind.REPORT_RETURNED, Kind.REPORT_WITHDRAWN]
        ),
    )
    .order_by(record_entries.c.subject, record_entries.c.seq)
)


@dataclass(frozen=True, slots=True)
class Return:
    """A report's way back to its umpire; `became` is None while it awaits its account.

    `written_at` is when what was asked about was written; `asked` is empty where the record's body
    was erased.
    """

    written_at: datetime
    at: datetime
    by: str
    asked: str
    became: Kind | None = None
    became_at: datetime | None = None


def returns_of(
    conn: Connection, meet_id: MeetId, reports: Sequence[ReportId]
) -> Mapping[ReportId, Sequence[Return]]:
    """The returns of each report in order; none for a report that was never returned."""
    rows = conn.execute(_ABOUT_REPORTS, {"meet": meet_id, "reports": list(reports)}).all()
    if all(row.kind != Kind.REPORT_RETURNED for row in rows):
        return {}
    names = NamesThen(conn, meet_id)
    found: defaultdict[ReportId, list[Return]] = defaultdict(list)
    for report, entries in groupby(rows, key=lambda row: ReportId(row.subject)):
        found[report] += _returns(list(entries), names)
    return found


def _returns(entries: Sequence[AnyRow], names: NamesThen) -> Iterator[Return]:
    # What is sent back was written: an entry of that stands before it.
    for before, entry, following in zip_longest(entries, entries[1:], entries[2:]):
        if entry is None or entry.kind != Kind.REPORT_RETURNED:
            continue
        told = json.loads(entry.entry)
        asked = json.loads(entry.body)["reason"] if entry.body else ""
        at = _instant(told)
        returned = (_instant(json.loads(before.entry)), at, names.at(told["actor"], at), asked)
        if following is None:
            yield Return(*returned)
        else:
            yield Return(*returned, Kind(following.kind), _instant(json.loads(following.entry)))


def _instant(entry: Mapping[str, str]) -> datetime:
    return datetime.fromisoformat(entry["at"])

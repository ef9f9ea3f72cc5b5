"""Which protests and appeals came to be in time, or late, by an announcement's corrected time?

Whether something is late follows from the windows as they are now, so a correction changes it by
itself. What was rejected or turned away for it needs somebody who looks again: this says which.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import Connection

from app.appeals.queries import measured
from app.appeals.standing import measured_appeal
from app.appeals.wire import Timeliness
from app.ids import HeatId
from app.results.pending import appeals_in_round, protests_in_round
from app.results.wire import RemeasuredOut


class Lodged(NamedTuple):
    """One protest or appeal, and whether it came in time."""

    what: str
    number: int
    timely: Timeliness


def measured_now(conn: Connection, heat_id: HeatId, zone: str) -> Mapping[str, Lodged]:
    """All protests and appeals of a heat's round by id, each as it is measured now."""
    found = {
        row.id: Lodged("protest", row.number, measured(conn, row, zone))
        for row in protests_in_round(conn, heat_id)
    }
    return found | {
        row.id: Lodged("appeal", row.number, measured_appeal(conn, row, zone))
        for row in appeals_in_round(conn, heat_id)
    }


def remeasured(
    before: Mapping[str, Lodged], after: Mapping[str, Lodged], *, in_time: bool
) -> list[RemeasuredOut]:
    """Those that are in time now and were not; or that are late now and were not."""
    return [
        RemeasuredOut(
            what=one.what,
            id=ident,
            number=one.number,
            words=one.timely.words,
            before=before[ident].timely.words,
        )
        for ident, one in after.items()
        if one.timely.in_time is in_time and before[ident].timely.in_time is not in_time
    ]

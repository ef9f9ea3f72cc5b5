"""Which protests and appeals came to be in time, or late, by a time that was corrected?

Whether something is late follows from the windows as they are now, so a correction changes it by
itself. What was rejected or turned away for it needs somebody who looks again: this says which.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection

from app.appeals.queries import measured
from app.appeals.standing import measured_appeal
from app.appeals.wire import Timeliness
from app.ids import HeatId
from app.meets.queries import MeetFacts, meet_facts
from app.results.correction_wire import RemeasuredOut
from app.results.pending import (
    appeals_in_meet,
    appeals_in_round,
    protests_in_meet,
    protests_in_round,
)
from app.store.action import Unit

Moved = dict[str, list[dict[str, Any]]]


class Lodged(NamedTuple):
    """One protest or appeal, and whether it came in time."""

    what: str
    number: int
    timely: Timeliness


def moved_by(unit: Unit, heat_id: HeatId | None, move: Callable[[], None]) -> Moved:
    """Move windows or what is measured by them; returns which protests and appeals were late and
    are in time by it, and the reverse: those of a heat's round, or of the whole meet.
    """
    meet = meet_facts(unit.conn, unit.meet_id)
    before = _measured_now(unit.conn, meet, heat_id)
    move()
    after = _measured_now(unit.conn, meet, heat_id)
    return {
        key: [one.model_dump(mode="json") for one in _remeasured(before, after, in_time=in_time)]
        for key, in_time in (("now_in_time", True), ("now_late", False))
    }


def _measured_now(
    conn: Connection, meet: MeetFacts, heat_id: HeatId | None
) -> Mapping[str, Lodged]:
    """All protests and appeals by id, each as it is measured now."""
    if heat_id is None:
        protests, appeals = protests_in_meet(conn, meet.id), appeals_in_meet(conn, meet.id)
    else:
        protests, appeals = protests_in_round(conn, heat_id), appeals_in_round(conn, heat_id)
    found = {
        row.id: Lodged("protest", row.number, measured(conn, row, meet.time_zone))
        for row in protests
    }
    return found | {
        row.id: Lodged("appeal", row.number, measured_appeal(conn, row, meet.time_zone))
        for row in appeals
    }


def _remeasured(
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

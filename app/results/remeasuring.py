"""Which protests and appeals came to be in time, or late, by a time that was corrected?

Whether something is late follows from the windows as they are now, so a correction changes it by
itself. What was rejected or turned away for it needs somebody who looks again: this says which.
A late appeal is admitted by the chair of its panel, with a reason, and by nobody else: so nobody of
that panel makes it timely, or late, by a time that is put right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from app.appeals.queries import measured
from app.appeals.standing import measured_appeal
from app.appeals.wire import Timeliness
from app.ids import HeatId
from app.meets.queries import MeetFacts, meet_facts
from app.refusals import NotYours
from app.results.correction_wire import Moved, RemeasuredOut
from app.results.pending import (
    appeals_in_meet,
    appeals_in_round,
    protests_in_meet,
    protests_in_round,
)
from app.store.action import Unit
from app.store.rows import AnyRow


class Lodged(NamedTuple):
    """One protest or appeal, whether it came in time, and the appeals that may rest on that."""

    what: str
    number: int
    timely: Timeliness
    appeals: Sequence[AnyRow]


def moved_by(unit: Unit, heat_id: HeatId | None, move: Callable[[], None]) -> Moved:
    """Move windows or what is measured by them; returns which protests and appeals were late and
    are in time by it, and the reverse: those of a heat's round, or of the whole meet. NotYours
    where one of them lies before a panel on which the official sits who acts.
    """
    meet = meet_facts(unit.conn, unit.meet_id)
    before = _measured_now(unit.conn, meet, heat_id)
    move()
    after = _measured_now(unit.conn, meet, heat_id)
    for ident, one in after.items():
        if one.timely.in_time is not before[ident].timely.in_time:
            insist_not_on_panel(unit, one.appeals)
    return {
        key: [one.model_dump(mode="json") for one in _remeasured(before, after, in_time=in_time)]
        for key, in_time in (("now_in_time", True), ("now_late", False))
    }


def insist_not_on_panel(unit: Unit, appeals: Iterable[AnyRow]) -> None:
    """NotYours where the official who acts decides on one of these appeals, or may take a place
    on its panel.
    """
    for row in appeals:
        panel = row.panel or {"members": (), "substitutes": ()}
        if unit.actor.id in (*panel["members"], *panel["substitutes"]):
            raise NotYours(
                f"You are of the panel of appeal {row.number}, and whether that is in time may "
                "rest on this. Let the desk enter it, or somebody who is not of that panel."
            )


def _measured_now(
    conn: Connection, meet: MeetFacts, heat_id: HeatId | None
) -> Mapping[str, Lodged]:
    """All protests and appeals by id, each as it is measured now."""
    if heat_id is None:
        protests, appeals = protests_in_meet(conn, meet.id), appeals_in_meet(conn, meet.id)
    else:
        protests, appeals = protests_in_round(conn, heat_id), appeals_in_round(conn, heat_id)
    on_protest: dict[str, list[AnyRow]] = {}
    for row in appeals:
        on_protest.setdefault(row.protest_id, []).append(row)
    found = {
        row.id: Lodged(
            "protest",
            row.number,
            measured(conn, row, meet.time_zone),
            on_protest.get(row.id, ()),
        )
        for row in protests
    }
    return found | {
        row.id: Lodged("appeal", row.number, measured_appeal(conn, row, meet.time_zone), [row])
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

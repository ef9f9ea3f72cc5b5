"""When was something handed in: a protest, an appeal, a deposit?

Now, or at the time that is given: not in the future, not before what it is about, not another day.
A time that is corrected keeps these bounds as they were when it was first entered.
"""

from __future__ import annotations

from datetime import datetime

from app.clock import in_zone
from app.meets.queries import meet_row
from app.refusals import Malformed
from app.results.announced_time import EARLIEST_ENTRY
from app.store.action import Unit
from app.store.rows import AnyRow


def taken_at(
    unit: Unit,
    given: datetime | None,
    field: str = "/lodged_at",
    earliest: datetime | None = None,
) -> datetime:
    """When something was handed in: now, or the time that is given, not before what it is about."""
    if given is None:
        return unit.now
    _insist_not_before(given, earliest, field)
    if given > unit.now:
        raise Malformed("This time lies in the future. Leave it out for now.", field=field)
    if given < unit.now - EARLIEST_ENTRY:
        raise Malformed("This lies more than twelve hours back; look at the day.", field=field)
    return given


def _insist_not_before(at: datetime, earliest: datetime | None, field: str) -> None:
    if earliest is not None and at < earliest:
        raise Malformed(
            "This lies before what it is about: the ruling, the decision, or the start of the "
            "heat. Look at the time.",
            field=field,
        )


def insist_still_possible(unit: Unit, row: AnyRow, at: datetime, earliest: datetime | None) -> None:
    """Malformed for a time at which a protest or an appeal cannot have been lodged, since it was
    taken in. A heat that was started anew after that says nothing.
    """
    field = "/lodged_at"
    insist_other(at, row.lodged_at, field)
    if at > row.entered_at:
        zone = meet_row(unit.conn, unit.meet_id).time_zone
        raise Malformed(
            f"It was taken in at {in_zone(row.entered_at, zone)}, so it cannot have been lodged "
            "later. Look at the time.",
            field=field,
        )
    if at < row.entered_at - EARLIEST_ENTRY:
        raise Malformed(
            "This lies more than twelve hours before it was taken in; look at the day.", field=field
        )
    if earliest is not None and earliest <= row.entered_at:
        _insist_not_before(at, earliest, field)


def insist_near(unit: Unit, at: datetime, was: datetime, field: str) -> None:
    """Malformed for a time in the future, or of another day than the one that was typed."""
    if at > unit.now:
        raise Malformed("This time lies in the future. Look at the time.", field=field)
    if abs(at - was) > EARLIEST_ENTRY:
        raise Malformed(
            "This lies more than twelve hours from the time that was typed; look at the day.",
            field=field,
        )


def insist_other(at: datetime, was: datetime, field: str) -> None:
    """Malformed where there is nothing to correct."""
    if at == was:
        raise Malformed("It has that time already: there is nothing to correct.", field=field)

"""When was something handed in: a protest, an appeal, a deposit?

Now, or at the time that is given: not in the future, not another day (`results/typed_times.py`),
not before what it is about. A time that is corrected keeps these bounds as they were when it was
first entered.
"""

from __future__ import annotations

from datetime import datetime

from app.record.kinds import Kind
from app.record.queries import entered_at
from app.refusals import Malformed
from app.results.typed_times import FirstTyped, insist_typed_now
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
    insist_typed_now(unit, given, field)
    return given


def _insist_not_before(at: datetime, earliest: datetime | None, field: str) -> None:
    if earliest is not None and at < earliest:
        raise Malformed(
            "This lies before what it is about: the ruling, the decision, or the start of the "
            "heat. Look at the time.",
            field=field,
        )


def insist_lodged_then(unit: Unit, row: AnyRow, at: datetime, earliest: datetime | None) -> None:
    """Malformed for a time at which a protest or an appeal cannot have been lodged, since it was
    taken in. A heat that was started anew after that says nothing.
    """
    field = "/lodged_at"
    FirstTyped(row.lodged_at, row.entered_at, field).insist_can_become(unit, at)
    if earliest is not None and earliest <= row.entered_at:
        _insist_not_before(at, earliest, field)


def insist_received_then(unit: Unit, appeal: AnyRow, was: datetime, at: datetime) -> None:
    """Malformed for a time at which a deposit cannot have been received, since it was entered:
    with its appeal, or later.
    """
    later = entered_at(unit.conn, unit.meet_id, Kind.DEPOSIT_RECEIVED, appeal.id)
    FirstTyped(was, later or appeal.entered_at, "/received_at").insist_can_become(unit, at)

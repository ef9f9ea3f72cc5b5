"""When was something handed in: a protest, an appeal, a deposit?"""

from __future__ import annotations

from datetime import datetime

from app.refusals import Malformed
from app.results.announced_time import EARLIEST_ENTRY
from app.store.action import Unit


def taken_at(
    unit: Unit,
    given: datetime | None,
    field: str = "/lodged_at",
    earliest: datetime | None = None,
) -> datetime:
    """When something was handed in: now, or the time that is given, not before what it is about."""
    if given is None:
        return unit.now
    if earliest is not None and given < earliest:
        raise Malformed(
            "This lies before what it is about: the ruling, the decision, or the start of the "
            "heat. Look at the time.",
            field=field,
        )
    if given > unit.now:
        raise Malformed("This time lies in the future. Leave it out for now.", field=field)
    if given < unit.now - EARLIEST_ENTRY:
        raise Malformed("This lies more than twelve hours back; look at the day.", field=field)
    return given

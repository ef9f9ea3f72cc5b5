"""Can a time that somebody types be right? When it is first entered, and when it is corrected.

Not in the future, and not of another day. A correction keeps these bounds as they were when the
time was first entered, however often it was corrected since. That is common practice: what lies
twelve hours back is a wrong day rather than a slip of paper that lay about.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from app.clock import in_zone
from app.meets.queries import meet_row
from app.refusals import Malformed
from app.store.action import Unit

EARLIEST_ENTRY = timedelta(hours=12)


def insist_typed_now(
    unit: Unit,
    at: datetime,
    field: str,
    what: str = "This time",
    if_ahead: str = "Look at the time; left out, it is taken to be now.",
) -> None:
    """Malformed for a time, entered now, that lies in the future (`if_ahead` is what to do then) or
    twelve hours back.
    """
    if at > unit.now:
        raise Malformed(f"{what} lies in the future. {if_ahead}", field=field)
    if at < unit.now - EARLIEST_ENTRY:
        raise Malformed(
            f"{what} lies more than twelve hours back; look at the day.",
            field=field,
        )


@dataclass(frozen=True, slots=True)
class FirstTyped:
    """A time that stands and is to be corrected, and when it was first entered."""

    stands: datetime
    entered_at: datetime
    field: str

    def insist_can_become(self, unit: Unit, at: datetime) -> None:
        """Malformed for the same time, and for one that could not have been given at first."""
        if at == self.stands:
            raise Malformed(
                "It has that time already: there is nothing to correct.", field=self.field
            )
        if at > unit.now:
            raise Malformed("This time lies in the future. Look at the time.", field=self.field)
        if at > self.entered_at:
            raise Malformed(
                f"It was first entered at {self._entered(unit)}, so it cannot have been later. "
                "Look at the time.",
                field=self.field,
            )
        if at < self.entered_at - EARLIEST_ENTRY:
            raise Malformed(
                "This lies more than twelve hours before it was first entered, which was at "
                f"{self._entered(unit)}; look at the day.",
                field=self.field,
            )

    def _entered(self, unit: Unit) -> str:
        return in_zone(self.entered_at, meet_row(unit.conn, unit.meet_id).time_zone)

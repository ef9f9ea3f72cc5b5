"""The end of the meet: from then on count the windows that a book counts from there (NFHS 3-5-3b).

It is said once. A result that is announced later still opens such a window, with its end known.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import bindparam, func, select, update

from app.access.queries import Caller
from app.access.signing import insist_may_sign
from app.clock import in_zone, rfc3339
from app.meets.actions import set_meet_ended
from app.meets.queries import MeetFacts, meet, meet_facts
from app.meets.wire import MeetOut
from app.record.kinds import Kind
from app.refusals import Malformed, StateConflict
from app.results.announced_time import EARLIEST_ENTRY
from app.results.tables import announcements, windows
from app.results.wire import EndOfMeetIn
from app.rules.windows import close_from
from app.store.action import Action, Deed, Done, Put, Unit

_LAST_ANNOUNCED = select(func.max(announcements.c.announced_at)).where(
    announcements.c.meet_id == bindparam("meet")
)
_WAITING = select(windows.c.id, windows.c.minutes).where(
    windows.c.meet_id == bindparam("meet"),
    windows.c.closes_at.is_(None),
    windows.c.counts_from.is_not(None),
)


def end_meet(sent: EndOfMeetIn, caller: Caller) -> Action[Put[MeetOut]]:
    """The meet has ended. The same again is the same; the PIN was confirmed before."""

    def act(unit: Unit) -> Done[Put[MeetOut]]:
        facts = meet_facts(unit.conn, unit.meet_id)
        if facts.ended_at is not None:
            _insist_same(facts, facts.ended_at, sent.ended_at)
            return Done(Put(meet(unit.conn, unit.meet_id), created=False), None)
        insist_may_sign(unit, caller)
        ended_at = _ended_at(unit, sent.ended_at)
        set_meet_ended(unit, ended_at)
        _close_what_waited(unit, ended_at)
        deed = Deed(Kind.MEET_ENDED, unit.meet_id, {"ended_at": rfc3339(ended_at)})
        return Done(Put(meet(unit.conn, unit.meet_id), created=True), deed)

    return act


def _insist_same(facts: MeetFacts, ended_at: datetime, given: datetime | None) -> None:
    if given is not None and given != ended_at:
        raise StateConflict(
            f"This meet ended at {in_zone(ended_at, facts.time_zone)}. That is said once, since "
            "windows count from it. Nothing was changed."
        )


def _ended_at(unit: Unit, given: datetime | None) -> datetime:
    """The end as given, or now; Malformed for a time at which the meet cannot have ended."""
    if given is not None and given > unit.now:
        raise Malformed(
            "This end of the meet lies in the future. Leave the time out to end it now.",
            field="/ended_at",
        )
    if given is not None and given < unit.now - EARLIEST_ENTRY:
        raise Malformed(
            "This end of the meet lies more than twelve hours back; look at the day.",
            field="/ended_at",
        )
    last: datetime | None = unit.conn.execute(_LAST_ANNOUNCED, {"meet": unit.meet_id}).scalar_one()
    if given is not None and last is not None and given < last:
        raise Malformed(
            "A result was announced after that, so the meet had not ended; look at the time.",
            field="/ended_at",
        )
    return given or max(unit.now, last or unit.now)


def _close_what_waited(unit: Unit, ended_at: datetime) -> None:
    """Give the windows that count from the end of the meet their closing times."""
    for window in unit.conn.execute(_WAITING, {"meet": unit.meet_id}).all():
        closes_at = close_from(window.minutes, ended_at)
        unit.conn.execute(
            update(windows).where(windows.c.id == window.id).values(closes_at=closes_at)
        )

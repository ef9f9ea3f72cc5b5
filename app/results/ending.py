"""The end of the meet: from then on count the windows that a book counts from there (NFHS 3-5-3b).

It is said once; where it was typed wrongly it is corrected, and the windows follow. A result that
is announced later still opens such a window, with its end known.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, bindparam, func, select, update

from app.access.pen import Pen
from app.clock import in_zone, rfc3339
from app.ids import CorrectionId, MeetId
from app.meets.actions import set_meet_ended
from app.meets.queries import MeetFacts, meet, meet_facts
from app.meets.wire import MeetOut
from app.record.kinds import Kind
from app.record.queries import entered_at
from app.refusals import Malformed, StateConflict
from app.results.correction_wire import (
    EndCorrectionIn,
    EndCorrectionsOut,
    EndOfMeetIn,
    EndOut,
    Mistyped,
)
from app.results.corrections import Act, corrections_of, is_known, keep, said_before
from app.results.queries import last_start
from app.results.remeasuring import moved_by
from app.results.tables import announcements, windows
from app.results.time_that_runs import Closing, insist_it_runs_on
from app.results.typed_times import FirstTyped, insist_typed_now
from app.rules.windows import close_from
from app.store.action import Action, Deed, Done, Put, Unit

_LAST_ANNOUNCED = select(func.max(announcements.c.announced_at)).where(
    announcements.c.meet_id == bindparam("meet")
)
_LAST_ANNOUNCED_BY = _LAST_ANNOUNCED.where(announcements.c.entered_at <= bindparam("said_at"))
_COUNTING = select(windows.c.id, windows.c.minutes, windows.c.closes_at).where(
    windows.c.meet_id == bindparam("meet"),
    windows.c.counts_from.is_not(None),
    windows.c.minutes.is_not(None),
)
_WAITING = select(windows.c.id, windows.c.minutes).where(
    windows.c.meet_id == bindparam("meet"),
    windows.c.closes_at.is_(None),
    windows.c.counts_from.is_not(None),
)


def end_meet(sent: EndOfMeetIn, pen: Pen) -> Action[Put[MeetOut]]:
    """The meet has ended. The same again is the same; signed with this pen."""

    def act(unit: Unit) -> Done[Put[MeetOut]]:
        facts = meet_facts(unit.conn, unit.meet_id)
        if facts.ended_at is not None:
            _insist_same(unit, facts, facts.ended_at, sent.ended_at)
            return Done(Put(meet(unit.conn, unit.meet_id), created=False), None)
        pen.insist_may_sign(unit)
        ended_at = _ended_at(unit, sent.ended_at)
        signed = pen.sign(unit, "end of the meet", unit.meet_id, {"said": sent.content()})
        set_meet_ended(unit, ended_at)
        _close(unit, _WAITING, ended_at)
        body = {"ended_at": rfc3339(ended_at), **signed.body}
        deed = Deed(Kind.MEET_ENDED, unit.meet_id, body)
        return Done(Put(meet(unit.conn, unit.meet_id), created=True), deed)

    return act


def _insist_same(unit: Unit, facts: MeetFacts, ended_at: datetime, given: datetime | None) -> None:
    if given is None or given == ended_at:
        return
    if rfc3339(given) not in said_before(unit.conn, Mistyped.END, unit.meet_id):
        raise StateConflict(
            f"This meet ended at {in_zone(ended_at, facts.time_zone)}. That is said once, since "
            "windows count from it; where it was typed wrongly, correct it "
            "(“end/time-corrections”). Nothing was changed."
        )


ONCE_IT_HAS_ENDED = (
    "Say it once the meet has ended, and nothing until then: sent without a time, this ends the "
    "meet at once."
)


def _ended_at(unit: Unit, given: datetime | None) -> datetime:
    """The end as given, or now; Malformed for a time at which the meet cannot have ended."""
    last: datetime | None = unit.conn.execute(_LAST_ANNOUNCED, {"meet": unit.meet_id}).scalar_one()
    if given is None:
        return max(unit.now, last or unit.now)
    insist_typed_now(unit, given, "/ended_at", "This end of the meet", ONCE_IT_HAS_ENDED)
    _insist_nothing_announced_after(given, last)
    _insist_no_start_after(unit, given, unit.now)
    return given


def _insist_no_start_after(unit: Unit, at: datetime, until: datetime) -> None:
    last = last_start(unit.conn, unit.meet_id, until)
    if last is not None and at < last:
        raise Malformed(
            "A heat was started after that, so the meet had not ended; look at the time.",
            field="/ended_at",
        )


def _insist_nothing_announced_after(at: datetime, last: datetime | None) -> None:
    if last is not None and at < last:
        raise Malformed(
            "A result was announced after that, so the meet had not ended; look at the time.",
            field="/ended_at",
        )


def _close(unit: Unit, which: Select[*tuple[Any, ...]], ended_at: datetime) -> None:
    """Give windows that count from the end of the meet their closing times."""
    for window in unit.conn.execute(which, {"meet": unit.meet_id}).all():
        closes_at = close_from(window.minutes, ended_at)
        unit.conn.execute(
            update(windows).where(windows.c.id == window.id).values(closes_at=closes_at)
        )


def correct_end(
    correction_id: CorrectionId, sent: EndCorrectionIn, pen: Pen
) -> Action[Put[EndCorrectionsOut]]:
    """Correct when the meet ended, and the windows that count from it, signed with this pen."""

    def act(unit: Unit) -> Done[Put[EndCorrectionsOut]]:
        content = sent.content(exclude_defaults=True)
        one = Act(correction_id, Mistyped.END, unit.meet_id, pen, content)
        deed = None if is_known(unit, one) else _correct(unit, one, sent)
        out = end_corrections(unit.conn, unit.meet_id)
        return Done(Put(out, created=deed is not None), deed)

    return act


def _correct(unit: Unit, one: Act, sent: EndCorrectionIn) -> Deed:
    one.pen.insist_may_sign(unit)
    at = sent.ended_at
    was = meet_facts(unit.conn, unit.meet_id).ended_at
    if was is None:
        raise StateConflict("The meet goes on: nobody has said yet when it ended.")
    _insist_possible(unit, was, at)
    closings = [
        Closing(window.closes_at, close_from(window.minutes, at))
        for window in unit.conn.execute(_COUNTING, {"meet": unit.meet_id})
    ]
    insist_it_runs_on(unit, closings, sent.remark)

    def move() -> None:
        set_meet_ended(unit, at)
        _close(unit, _COUNTING, at)

    moved = moved_by(unit, None, move)
    body = keep(unit, one, rfc3339(was), rfc3339(at), moved)
    return Deed(Kind.END_OF_MEET_CORRECTED, unit.meet_id, body)


def _insist_possible(unit: Unit, was: datetime, at: datetime) -> None:
    """Malformed for an end that could not have been given when the first one was."""
    said_at = entered_at(unit.conn, unit.meet_id, Kind.MEET_ENDED, unit.meet_id)
    assert said_at is not None
    FirstTyped(was, said_at, "/ended_at").insist_can_become(unit, at)
    # What was announced after that was announced when the meet was over.
    values = {"meet": unit.meet_id, "said_at": said_at}
    last: datetime | None = unit.conn.execute(_LAST_ANNOUNCED_BY, values).scalar_one()
    _insist_nothing_announced_after(at, last)
    _insist_no_start_after(unit, at, said_at)


def end_corrections(conn: Connection, meet_id: MeetId) -> EndCorrectionsOut:
    """When the meet ended, and how that was corrected, by whom and why."""
    facts = meet_facts(conn, meet_id)
    ended_at = facts.ended_at
    return EndCorrectionsOut(
        ended_at=ended_at,
        ended_at_local="" if ended_at is None else in_zone(ended_at, facts.time_zone),
        corrections=corrections_of(conn, facts, [meet_id]).get(meet_id, []),
    )


def end_of_meet(conn: Connection, meet_id: MeetId) -> EndOut:
    """The same as everybody reads it: which protests are late is not for the notice board."""
    return EndOut.model_validate(end_corrections(conn, meet_id), from_attributes=True)

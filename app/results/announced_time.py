"""When was a result announced? The instant that its windows count from, and how it is corrected.

World Athletics TR8.2: the time of every announcement is recorded. One that was typed wrongly is
corrected by an act of its own: the announcement keeps what it said, its windows follow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import starmap
from typing import Any

from sqlalchemy import bindparam, select, update

from app.access.pen import Pen
from app.appeals.about_not_held import end_by_corrected_advice
from app.clock import rfc3339
from app.ids import AnnouncementId, CorrectionId, HeatId
from app.meets.queries import heat
from app.meets.wire import HeatOut
from app.record.kinds import Kind
from app.refusals import Malformed
from app.results.announcement_wire import AnnouncementOut
from app.results.announcements import announcement_row
from app.results.correction_wire import TimeCorrectionIn
from app.results.corrections import TICK, Act, is_known, keep
from app.results.finality import announcement_shown
from app.results.pending import advised_at, last_carried_out
from app.results.remeasuring import moved_by
from app.results.tables import announcements, windows
from app.results.time_that_runs import Closing, insist_it_runs_on
from app.results.typed_times import EARLIEST_ENTRY
from app.rules.windows import close_from
from app.rulings.queries import last_ruled_at
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

LARGEST_STEP_BACK = timedelta(minutes=5)
"""By which a clock may have been set back between a ruling and its announcement."""

ANNOUNCE_NOW = "Leave the time out to announce now."
LOOK_AGAIN = "Look at the time. Nothing was changed."

_NEIGHBOUR = select(announcements.c.number, announcements.c.announced_at).where(
    announcements.c.heat_id == bindparam("heat"), announcements.c.number == bindparam("number")
)
_MOVED = select(
    windows.c.id,
    windows.c.minutes,
    windows.c.counts_from,
    windows.c.decision_id,
    windows.c.closes_at,
)
_TO_MOVE = _MOVED.where(windows.c.announcement_id == bindparam("announcement"))
_OF_ADVICE = _MOVED.where(windows.c.decision_id == bindparam("decision"))


@dataclass(frozen=True, slots=True)
class Bounds:
    """What an announcement cannot lie before or behind: what it shows, and its neighbours."""

    now: datetime
    entered_at: datetime
    started_at: datetime | None
    decided_at: datetime | None
    before: AnyRow | None
    after: AnyRow | None
    way_out: str

    def insist_on(self, at: datetime) -> None:
        """Malformed says which bound an instant breaks."""
        for broken in self._broken_by(at):
            raise Malformed(broken, field="/announced_at")

    def _broken_by(self, at: datetime) -> Iterator[str]:
        if at > self.now:
            yield f"This announcement lies in the future. {self.way_out}"
        if at < self.entered_at - EARLIEST_ENTRY:
            yield "This announcement lies more than twelve hours back; look at the day."
        if self.started_at is not None and at < self.started_at:
            yield "This announcement lies before the start of its heat; look at the time."
        if self.decided_at is not None and at < self.decided_at:
            yield (
                "This announcement lies before the last ruling or decision in its heat, so it "
                f"cannot have shown it. {self.way_out}"
            )
        if self.before is not None and at <= self.before.announced_at:
            yield f"Announcement {self.before.number} of this heat was made later than that."
        if self.after is not None and at >= self.after.announced_at:
            yield f"Announcement {self.after.number} of this heat was made before that."


def announcing_time(
    unit: Unit, given: datetime | None, last: AnyRow | None, facts: HeatOut
) -> datetime:
    """The instant of a new announcement: now, or the one the desk gives.

    Now is never before what the announcement shows, also where a clock was set back a little
    meanwhile. What lies further ahead was stamped by a clock that was wrong, and teams must not
    wait for their window until then.
    """
    decided_at = _decided_at(unit, facts.id, None)
    if given is not None:
        bounds = Bounds(unit.now, unit.now, facts.started_at, decided_at, last, None, ANNOUNCE_NOW)
        bounds.insist_on(given)
        return given
    after_last = None if last is None else last.announced_at + TICK
    floors = (facts.started_at, decided_at, after_last)
    latest = max((floor for floor in floors if floor is not None), default=unit.now)
    return latest if unit.now < latest <= unit.now + LARGEST_STEP_BACK else unit.now


def _decided_at(unit: Unit, heat_id: HeatId, shown_by: AnyRow | None) -> datetime | None:
    """When a ruling or a decision changed a heat's result last, of those that an announcement
    showed; None for all until now.
    """
    entered_at, seen = (shown_by.entered_at, shown_by.decisions_seen) if shown_by else (None, None)
    ruled_at = last_ruled_at(unit.conn, heat_id, entered_at)
    carried_out = last_carried_out(unit.conn, heat_id, seen)
    return max((at for at in (ruled_at, carried_out) if at is not None), default=None)


def correct_time(
    announcement_id: AnnouncementId,
    correction_id: CorrectionId,
    sent: TimeCorrectionIn,
    pen: Pen,
) -> Action[Put[AnnouncementOut]]:
    """Correct the time of an announcement and of what it opened, signed with this pen."""

    def act(unit: Unit) -> Done[Put[AnnouncementOut]]:
        row = announcement_row(unit.conn, unit.meet_id, announcement_id)
        content = sent.content(exclude_defaults=True)
        one = Act(correction_id, None, row.id, pen, content)
        deed = None if is_known(unit, one) else _correct(unit, one, row, sent)
        out = announcement_shown(unit.conn, unit.meet_id, announcement_id, unit.now)
        return Done(Put(out, created=deed is not None), deed)

    return act


def _correct(unit: Unit, one: Act, row: AnyRow, sent: TimeCorrectionIn) -> Deed:
    at = sent.announced_at
    one.pen.insist_may_sign(unit)
    _insist_possible(unit, row, at)
    closings = (Closing(one.closes_at, _closes_then(one, to)) for one, to in _moved(unit, row, at))
    insist_it_runs_on(unit, closings, sent.remark)
    moved = moved_by(unit, HeatId(row.heat_id), lambda: _move_windows(unit, row, at))
    body = keep(unit, one, rfc3339(row.announced_at), rfc3339(at), moved)
    return Deed(Kind.ANNOUNCEMENT_TIME_CORRECTED, row.id, body)


def _insist_possible(unit: Unit, row: AnyRow, at: datetime) -> None:
    if at == row.announced_at:
        raise Malformed(
            "This announcement has that time already: there is nothing to correct.",
            field="/announced_at",
        )
    facts = heat(unit.conn, unit.meet_id, row.heat_id)
    is_of_this_run = row.run_seen == facts.present_run
    Bounds(
        now=unit.now,
        entered_at=row.entered_at,
        started_at=facts.started_at if is_of_this_run else None,
        decided_at=_decided_at(unit, HeatId(row.heat_id), row),
        before=_neighbour(unit, row, -1),
        after=_neighbour(unit, row, +1),
        way_out=LOOK_AGAIN,
    ).insist_on(at)


def _neighbour(unit: Unit, row: AnyRow, step: int) -> AnyRow | None:
    """The announcement of the same heat before or after this one."""
    values = {"heat": row.heat_id, "number": row.number + step}
    return unit.conn.execute(_NEIGHBOUR, values).one_or_none()


def _move_windows(unit: Unit, row: AnyRow, at: datetime) -> None:
    """The announcement's place in the order, and the windows that count from it."""
    unit.conn.execute(
        update(announcements).where(announcements.c.id == row.id).values(announced_at=at)
    )
    for window, starts in list(_moved(unit, row, at)):
        _open_at(unit, window, starts)


def _moved(unit: Unit, row: AnyRow, at: datetime) -> Iterator[tuple[AnyRow, datetime]]:
    """The windows that count from an announcement, and from when on with another time of it. The
    closing time of what counts from the end of the meet stays. What an advice opened counts from
    the advice, or from the first announcement where that came later.
    """
    advised = advised_at(unit.conn, HeatId(row.heat_id))
    for window in unit.conn.execute(_TO_MOVE, {"announcement": row.id}).all():
        if window.decision_id is not None and (row.number > 1 or window.decision_id not in advised):
            continue
        yield window, max(at, advised.get(window.decision_id, at))


def move_windows_of_advice(unit: Unit, decided: AnyRow, at: datetime) -> None:
    """The windows that an advice opened count from its corrected time."""
    for window, starts in list(_moved_of_advice(unit, decided, at)):
        _open_at(unit, window, starts)


def insist_advice_leaves_time(unit: Unit, decided: AnyRow, at: datetime, remark: str) -> None:
    """NeedsWord without a remark where the time for an appeal would be over at once by that."""
    moved = _moved_of_advice(unit, decided, at)
    stored = (Closing(one.closes_at, _closes_then(one, starts)) for one, starts in moved)
    counted = starmap(Closing, end_by_corrected_advice(unit.conn, decided, at))
    insist_it_runs_on(unit, [*stored, *counted], remark)


def _moved_of_advice(
    unit: Unit, decided: AnyRow, at: datetime
) -> Iterator[tuple[AnyRow, datetime]]:
    """The windows that the advice on a decision opened, and from when on with another time of it:
    from then, or from the heat's first announcement where that came later.
    """
    first = unit.conn.execute(_NEIGHBOUR, {"heat": decided.heat_id, "number": 1}).one_or_none()
    starts = at if first is None else max(at, first.announced_at)
    for window in unit.conn.execute(_OF_ADVICE, {"decision": decided.id}).all():
        yield window, starts


def _open_at(unit: Unit, window: AnyRow, starts: datetime) -> None:
    values: dict[str, Any] = {"opened_at": starts}
    closes_at = _closes_then(window, starts)
    if closes_at is not None:
        values["closes_at"] = closes_at
    unit.conn.execute(update(windows).where(windows.c.id == window.id).values(**values))


def _closes_then(window: AnyRow, starts: datetime) -> datetime | None:
    """When a window closes that counts from then; None where its start does not say."""
    if window.minutes is None or window.counts_from is not None:
        return None
    return close_from(window.minutes, starts)

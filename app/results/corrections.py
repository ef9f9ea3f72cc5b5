"""What was typed wrongly, and what it became.

The time of an announcement, a protest, an appeal, an advice or a deposit, a receipt's number, the
end of the meet: each is corrected by an act with a reason and a PIN. The row that it is about holds
what is right; here stands what it said before. Who may correct what within which bounds is the
business of whom it belongs to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Table, bindparam, func, insert, select, union_all

from app.access.names import NamesThen
from app.access.pen import Pen, Signed
from app.clock import in_zone
from app.ids import AnnouncementId, CorrectionId, MeetId, OfficialId, WindowId
from app.meets.queries import MeetFacts
from app.refusals import IdTaken
from app.results.correction_wire import (
    CorrectionOut,
    MeasureCorrectionOut,
    Mistyped,
    Moved,
    TimeCorrectionOut,
)
from app.results.tables import announcements, corrections, time_corrections, windows
from app.store.action import Unit
from app.store.rows import AnyRow

TICK = timedelta(microseconds=1)

_OF_SUBJECTS = (
    select(corrections)
    .where(corrections.c.subject_id.in_(bindparam("subjects", expanding=True)))
    .order_by(corrections.c.corrected_at, corrections.c.id)
)
_SUBJECT_OF = select(corrections.c.subject_id).where(corrections.c.id == bindparam("correction"))
_OF_SUBJECT = select(corrections).where(corrections.c.subject_id == bindparam("subject"))
_OF_ANNOUNCEMENTS = (
    select(time_corrections, announcements.c.number)
    .join(announcements, announcements.c.id == time_corrections.c.announcement_id)
    .order_by(time_corrections.c.corrected_at, time_corrections.c.id)
)
_OF_ANNOUNCEMENT = _OF_ANNOUNCEMENTS.where(announcements.c.id == bindparam("announcement"))
_OF_MEET = _OF_ANNOUNCEMENTS.where(time_corrections.c.meet_id == bindparam("meet"))
_OPENED = (
    select(windows.c.id, windows.c.announcement_id)
    .join(announcements, announcements.c.id == windows.c.announcement_id)
    .where(
        windows.c.id.in_(bindparam("windows", expanding=True)),
        # One that an advice opened counts from an announcement only where that came later.
        windows.c.opened_at == announcements.c.announced_at,
    )
)
_COUNTING = select(windows.c.id).where(
    windows.c.id.in_(bindparam("windows", expanding=True)), windows.c.counts_from.is_not(None)
)


@dataclass(frozen=True, slots=True)
class _Kept:
    """Where corrections of one sort stand: their table, which column names what is corrected, and
    what one is called.
    """

    table: Table
    subject: str
    called: str


_ANNOUNCED = _Kept(time_corrections, "announcement_id", "a time correction")
_ELSE = _Kept(corrections, "subject_id", "a correction")
_REMEASURED = union_all(
    *(
        select(
            kept.table.c.official_id,
            kept.table.c.remeasured,
            kept.table.c[kept.subject].label("subject"),
        ).where(kept.table.c.meet_id == bindparam("meet"))
        for kept in (_ANNOUNCED, _ELSE)
    )
)


@dataclass(frozen=True, slots=True)
class Act:
    """One correction as it was sent: under which id, of what, by whom, with which words.

    `about` is None for the time of an announcement, whose corrections have a table of their own.
    """

    id: CorrectionId
    about: Mistyped | None
    subject: str
    pen: Pen
    content: Mapping[str, Any]

    @property
    def kept(self) -> _Kept:
        return _ANNOUNCED if self.about is None else _ELSE


def is_known(unit: Unit, act: Act) -> bool:
    """Whether this correction was made before; IdTaken where its id stands for another."""
    table = act.kept.table
    row = unit.conn.execute(select(table).where(table.c.id == act.id)).mappings().one_or_none()
    if row is None:
        return False
    same = (row[act.kept.subject], row["official_id"]) == (act.subject, act.pen.caller.official_id)
    # One of an appeal's time has another field than one of its deposit.
    if not same or row["content"] != act.content:
        raise IdTaken(act.kept.called, act.id)
    return True


def keep(unit: Unit, act: Act, was: str, becomes: str, moved: Moved) -> dict[str, Any]:
    """Sign and store a correction; returns what the record keeps of it."""
    signed = _sign(unit, act, was, becomes)
    said = {name: act.content[name] for name in ("reasons", "remark") if name in act.content}
    told = {"was": was, "becomes": becomes, **said}
    if act.about is None:
        _store(unit, act, moved, was=_instant(was), becomes=_instant(becomes))
        return {"correction": act.id, **told, **moved, **signed.body}
    _store(unit, act, moved, about=act.about.value, was=was, becomes=becomes)
    about = act.about.value
    return {"correction": act.id, "about": about, **told, **moved, **signed.body}


def _sign(unit: Unit, act: Act, was: str, becomes: str) -> Signed:
    said = {
        "about": "announcement" if act.about is None else act.about.value,
        "becomes": becomes,
        "correction": act.id,
        "said": act.content,
        "subject": act.subject,
        "was": was,
    }
    return act.pen.sign(unit, "correction", act.id, said)


def _store(unit: Unit, act: Act, moved: Moved, **said: Any) -> None:
    table, subject = act.kept.table, act.kept.subject
    last = unit.conn.execute(
        select(func.max(table.c.corrected_at)).where(table.c[subject] == act.subject)
    ).scalar_one()
    unit.conn.execute(
        insert(table).values(
            id=act.id,
            meet_id=unit.meet_id,
            official_id=act.pen.caller.official_id,
            # The last one counts, also where a clock was set back in between.
            corrected_at=unit.now if last is None else max(unit.now, last + TICK),
            remeasured=moved,
            reasons=act.content["reasons"],
            content=dict(act.content),
            **{subject: act.subject},
            **said,
        )
    )


def about_before(conn: Connection, ident: CorrectionId) -> str | None:
    """What a correction was about that was made before under this id, None where there is none."""
    found: str | None = conn.execute(_SUBJECT_OF, {"correction": ident}).scalar_one_or_none()
    return found


def said_before(conn: Connection, about: Mistyped, subject: str) -> frozenset[str]:
    """What it said before it was corrected: sent once more, that is no news."""
    rows = conn.execute(_OF_SUBJECT, {"subject": subject})
    return frozenset(row.was for row in rows if row.about == about)


def who_corrected(conn: Connection, meet_id: MeetId, lodged: Collection[str]) -> set[OfficialId]:
    """Who corrected something of these protests and appeals, or a time by which one of them came to
    be in time, or late.
    """
    rows = conn.execute(_REMEASURED, {"meet": meet_id})
    return {
        OfficialId(row.official_id)
        for row in rows
        if row.subject in lodged
        or any(one["id"] in lodged for moved in row.remeasured.values() for one in moved)
    }


def corrections_of(
    conn: Connection, meet: MeetFacts, subjects: Iterable[str]
) -> Mapping[str, list[CorrectionOut]]:
    """The corrections of each of these, first to last; what was typed right is left out."""
    rows = conn.execute(_OF_SUBJECTS, {"subjects": list(subjects)}).all()
    names = NamesThen(conn, meet.id)
    found: dict[str, list[CorrectionOut]] = {}
    for row in rows:
        out = CorrectionOut(
            id=row.id,
            about=Mistyped(row.about),
            was=row.was,
            was_local=_local(row.about, row.was, meet.time_zone),
            becomes=row.becomes,
            becomes_local=_local(row.about, row.becomes, meet.time_zone),
            reasons=row.reasons,
            remark=row.content.get("remark", ""),
            corrected_by=row.official_id,
            corrected_by_name=names.at(row.official_id, row.corrected_at),
            corrected_at=row.corrected_at,
            **row.remeasured,
        )
        found.setdefault(row.subject_id, []).append(out)
    return found


def announcement_corrections(
    conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId, zone: str
) -> list[TimeCorrectionOut]:
    """The corrections of an announcement's time, first to last."""
    rows = conn.execute(_OF_ANNOUNCEMENT, {"announcement": announcement_id}).all()
    names = NamesThen(conn, meet_id)
    return [TimeCorrectionOut(**_told(row, names, zone)) for row in rows]


def measure_corrections(
    conn: Connection, meet: MeetFacts, measured_by: Mapping[str, WindowId | None]
) -> Mapping[str, list[MeasureCorrectionOut]]:
    """By protest or appeal, each given with the window that measures it: the corrections of the
    time of the announcement that opened it, or of the end of the meet where it counts from there,
    and those by which it came to be in time or late.
    """
    said = _said_of_times(conn, meet)
    if not said:
        return {}
    asked = {"windows": [window for window in measured_by.values() if window is not None]}
    measures = {(row.id, row.announcement_id) for row in conn.execute(_OPENED, asked)}
    measures |= {(row.id, None) for row in conn.execute(_COUNTING, asked)}
    return {
        ident: [
            one
            for told in said
            for one in [_of_measure(told, ident)]
            if (window, one.announcement) in measures or one.now_in_time or one.now_late
        ]
        for ident, window in measured_by.items()
    }


def _said_of_times(conn: Connection, meet: MeetFacts) -> list[dict[str, Any]]:
    """The corrections of the times that windows count from, first to last."""
    announced = conn.execute(_OF_MEET, {"meet": meet.id}).all()
    ended = [
        one
        for one in corrections_of(conn, meet, [meet.id]).get(meet.id, [])
        if one.about is Mistyped.END
    ]
    names = NamesThen(conn, meet.id)
    said = [
        {"announcement": row.announcement_id, "number": row.number}
        | _told(row, names, meet.time_zone)
        for row in announced
    ]
    said += [one.model_dump(exclude={"about"}) for one in ended]
    return sorted(said, key=lambda one: one["corrected_at"])


def _of_measure(told: Mapping[str, Any], ident: str) -> MeasureCorrectionOut:
    """One of them, of what it moved only this protest or appeal."""
    own = {
        key: [one for one in told[key] if one["id"] == ident]
        for key in ("now_in_time", "now_late")
        if key in told
    }
    return MeasureCorrectionOut.model_validate({**told, **own})


def _told(row: AnyRow, names: NamesThen, zone: str) -> dict[str, Any]:
    return {
        "id": row.id,
        "was": row.was,
        "was_local": in_zone(row.was, zone),
        "becomes": row.becomes,
        "becomes_local": in_zone(row.becomes, zone),
        "reasons": row.reasons,
        "remark": row.content.get("remark", ""),
        "corrected_by": row.official_id,
        "corrected_by_name": names.at(row.official_id, row.corrected_at),
        "corrected_at": row.corrected_at,
        **row.remeasured,
    }


def _local(about: str, said: str, zone: str) -> str:
    """An instant as people at the meet read it; a receipt's number is none."""
    is_receipt = about == Mistyped.RECEIPT
    return "" if is_receipt else in_zone(_instant(said), zone)


def _instant(said: str) -> datetime:
    return datetime.fromisoformat(said)

"""What was typed wrongly, beside the time of an announcement, and what it became.

The time of a protest, an appeal, an advice or a deposit, a receipt's number, the end of the meet:
each is corrected by an act with a reason and a PIN. The row that it is about holds what is right;
here stands what it said before. Who may correct what within which bounds is the business of whom
it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select

from app.access.queries import Caller, officials_of
from app.clock import in_zone
from app.ids import CorrectionId
from app.meets.queries import MeetFacts
from app.refusals import IdTaken
from app.results.remeasuring import Moved
from app.results.tables import corrections
from app.results.wire import CorrectionOut, Mistyped
from app.store.action import Unit

TICK = timedelta(microseconds=1)

_KNOWN = select(corrections).where(corrections.c.id == bindparam("correction"))
_OF_SUBJECTS = (
    select(corrections)
    .where(corrections.c.subject_id.in_(bindparam("subjects", expanding=True)))
    .order_by(corrections.c.corrected_at, corrections.c.id)
)
_OF_SUBJECT = select(corrections).where(corrections.c.subject_id == bindparam("subject"))
_LAST = select(func.max(corrections.c.corrected_at)).where(
    corrections.c.subject_id == bindparam("subject")
)


@dataclass(frozen=True, slots=True)
class Act:
    """One correction as it was sent: under which id, of what, by whom, with which words."""

    id: CorrectionId
    about: Mistyped
    subject: str
    caller: Caller
    content: Mapping[str, Any]


def is_known(unit: Unit, act: Act) -> bool:
    """Whether this correction was made before; IdTaken where its id stands for another."""
    known = unit.conn.execute(_KNOWN, {"correction": act.id}).one_or_none()
    if known is None:
        return False
    same = (known.about, known.subject_id, known.official_id) == (
        act.about,
        act.subject,
        act.caller.official_id,
    )
    if not same or known.content != act.content:
        raise IdTaken("a correction", act.id)
    return True


def keep(unit: Unit, act: Act, was: str, becomes: str, moved: Moved) -> dict[str, Any]:
    """Store a correction; returns what the record keeps of it."""
    last = unit.conn.execute(_LAST, {"subject": act.subject}).scalar_one()
    told = {"was": was, "becomes": becomes, "reasons": act.content["reasons"]}
    unit.conn.execute(
        insert(corrections).values(
            id=act.id,
            meet_id=unit.meet_id,
            about=act.about.value,
            subject_id=act.subject,
            official_id=act.caller.official_id,
            # The last one counts, also where a clock was set back in between.
            corrected_at=unit.now if last is None else max(unit.now, last + TICK),
            remeasured=moved,
            content=dict(act.content),
            **told,
        )
    )
    return {"correction": act.id, "about": act.about.value, **told, **moved}


def said_before(conn: Connection, about: Mistyped, subject: str) -> frozenset[str]:
    """What it said before it was corrected: sent once more, that is no news."""
    rows = conn.execute(_OF_SUBJECT, {"subject": subject})
    return frozenset(row.was for row in rows if row.about == about)


def corrections_of(
    conn: Connection, meet: MeetFacts, subjects: Iterable[str]
) -> Mapping[str, list[CorrectionOut]]:
    """The corrections of each of these, first to last; what was typed right is left out."""
    rows = conn.execute(_OF_SUBJECTS, {"subjects": list(subjects)}).all()
    names = {one.id: one.name for one in officials_of(conn, meet.id)} if rows else {}
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
            corrected_by=row.official_id,
            corrected_by_name=names[row.official_id],
            corrected_at=row.corrected_at,
            **row.remeasured,
        )
        found.setdefault(row.subject_id, []).append(out)
    return found


def _local(about: str, said: str, zone: str) -> str:
    """An instant as people at the meet read it; a receipt's number is none."""
    is_receipt = about == Mistyped.RECEIPT
    return "" if is_receipt else in_zone(datetime.fromisoformat(said), zone)

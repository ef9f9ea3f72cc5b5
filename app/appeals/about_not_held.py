"""What can still be lodged about a heat that is not held, and how does the time for it run?

Whatever was handed in before that was said is taken in, however late it is entered, and decided
like any other. Nothing is ever announced of such a heat, so no window opens in it: the time for an
appeal is counted as a window by advice would be (World Athletics TR8.7.2), from when the protesters
were told that nothing changes; from the signing, where something was ordered.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlalchemy import Connection, bindparam, select

from app.appeals.tables import decisions
from app.appeals.wire import Instance, Verdict
from app.ids import HeatId, MeetId
from app.meets.queries import NOT_HELD, MeetFacts, heats_not_held, is_not_held, meet_facts
from app.record.kinds import Kind
from app.record.queries import Made, entries_about
from app.refusals import StateConflict
from app.results.wording import at_time
from app.rules.windows import Window, WindowOpener, windows_opened
from app.rulings.jurys_word import JURY_HAS_SETTLED, STANDS_SINCE
from app.store.action import Unit
from app.store.rows import AnyRow

HANDED_IN_BEFORE = "Where it was handed in before that, say when in “lodged_at”."

_TO_APPEAL = (
    select(decisions, STANDS_SINCE.label("stands_since"))
    .where(
        decisions.c.heat_id.in_(bindparam("heats", expanding=True)),
        decisions.c.instance == Instance.REFEREE.value,
        decisions.c.verdict != Verdict.REFERRED.value,
        decisions.c.replaced_by.is_(None),
        ~JURY_HAS_SETTLED,
    )
    .order_by(decisions.c.seq)
)

_REFEREES_ON = (
    select(decisions.c.id)
    .where(
        decisions.c.protest_id == bindparam("protest"),
        decisions.c.instance == Instance.REFEREE.value,
    )
    .order_by(decisions.c.seq)
)


@dataclass(frozen=True, slots=True)
class Counted:
    """The time for an appeal that is stored nowhere, in what a stored window tells."""

    opened_by: str
    opened_at: datetime
    closes_at: datetime | None
    minutes: int | None
    rule: str
    origin: Literal["edition", "meet"]
    id: None = None


def insist_handed_in_before(
    unit: Unit, heat_id: HeatId, given: datetime | None, field: str, instead: str
) -> None:
    """StateConflict for what was handed in once it had been said that this heat is not held. What
    is entered without a time is handed in now: after that, also where a clock was set back since.
    """
    # What is committed together is in the record only after it: then that was said just now.
    said = said_at(unit.conn, unit.meet_id, heat_id) or unit.now
    if given is None or given >= said:
        when = at_time(said, unit.now, meet_facts(unit.conn, unit.meet_id).time_zone)
        raise StateConflict(
            f"{NOT_HELD} {instead} That was said {when}. {HANDED_IN_BEFORE}", field=field
        )


def insist_still_before(unit: Unit, heat_id: HeatId, at: datetime) -> None:
    """StateConflict for a corrected time at which it would not have been taken in."""
    if is_not_held(unit.conn, heat_id):
        instead = "What was handed in later is not heard: let the team take it back."
        insist_handed_in_before(unit, heat_id, at, "/lodged_at", instead)


def said_at(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> datetime | None:
    """When it was said last that a heat is not held, None where the record has that nowhere."""
    said = _said_last(conn, meet_id, heat_id)
    return None if said is None else said.at


def _said_last(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> Made | None:
    entries = entries_about(conn, meet_id, Kind.HEAT_NOT_HELD, heat_id)
    return entries[-1] if entries else None


def lanes_before(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> Mapping[str, int] | None:
    """The lane that each team had before it was said that this heat is not held, which only the
    record keeps; None where that was erased, and for any other heat.
    """
    if not is_not_held(conn, heat_id):
        return None
    said = _said_last(conn, meet_id, heat_id)
    body = None if said is None else said.body
    return None if body is None else {one["team"]: one["lane"] for one in body["lanes"]}


def is_decided_since(conn: Connection, decided: AnyRow) -> bool:
    """Whether the referee's decision was made, or came to stand again, after it had been said that
    its heat is not held: on a protest that had been handed in before. When it was made is counted
    by the record, since clocks are set back; since when it stands again is told by the clock.
    """
    meet_id = MeetId(decided.meet_id)
    said = _said_last(conn, meet_id, HeatId(decided.heat_id))
    if said is None:
        return False
    if decided.given_back is not None and decided.stands_since > said.at:
        return True
    made = list(conn.execute(_REFEREES_ON, {"protest": decided.protest_id}).scalars())
    entries = entries_about(conn, meet_id, Kind.PROTEST_DECIDED, decided.protest_id)
    which = made.index(decided.id)
    # What is being decided now has no entry yet.
    return which >= len(entries) or entries[which].seq > said.seq


def time_where_not_held(conn: Connection, decided: AnyRow) -> Counted | None:
    """The time for an appeal against a decision on a heat that is not held; None while it has not
    begun, and for any other heat.
    """
    if not is_not_held(conn, HeatId(decided.heat_id)):
        return None
    opened = time_without_announcement(meet_facts(conn, MeetId(decided.meet_id)), decided)
    if opened is None:
        return None
    return Counted(
        "what was ordered" if decided.carried_out else "the advice on the protest",
        opened.opened_at,
        opened.closes_at,
        opened.minutes,
        opened.rule,
        opened.origin,
    )


def time_since_not_held(conn: Connection, decided: AnyRow) -> Counted | None:
    """The same, of a decision that was made since that was said: nobody can appeal against any
    other.
    """
    counted = time_where_not_held(conn, decided)
    return counted if counted is not None and is_decided_since(conn, decided) else None


def end_by_corrected_advice(
    conn: Connection, decided: AnyRow, at: datetime
) -> Iterator[tuple[datetime | None, datetime | None]]:
    """When the time that runs where the heat is not held ends, and when it would with another time
    of the advice; nothing where none runs.
    """
    now = time_since_not_held(conn, decided)
    if now is not None:
        then = _counted_from(meet_facts(conn, MeetId(decided.meet_id)), at)
        yield now.closes_at, None if then is None else then.closes_at


def time_without_announcement(meet: MeetFacts, decided: AnyRow) -> Window | None:
    """The time for an appeal where nothing is announced; None while the protesters are to be told.

    It has no end where the edition sets none.
    """
    start = decided.stands_since if decided.carried_out else decided.advised_at
    return None if start is None else _counted_from(meet, start)


def _counted_from(meet: MeetFacts, start: datetime) -> Window | None:
    opened = windows_opened(WindowOpener.ADVICE, start, meet.book, meet.window_terms)
    return next((one for one in opened if one.closes_at is None), None) or max(
        opened, key=lambda one: one.closes_at or start, default=None
    )


def times_where_not_held(
    conn: Connection, meet_id: MeetId, heat_ids: Iterable[HeatId]
) -> Mapping[HeatId, list[Window]]:
    """By heat that is not held the times for appeals against the decisions on it that stand, and
    that the jury has not settled; heats without any are left out.
    """
    left_over = heats_not_held(conn, heat_ids)
    if not left_over:
        return {}
    found: dict[HeatId, list[Window]] = {}
    meet = meet_facts(conn, meet_id)
    for row in conn.execute(_TO_APPEAL, {"heats": sorted(left_over)}):
        opened = time_without_announcement(meet, row)
        if opened is not None:
            found.setdefault(HeatId(row.heat_id), []).append(opened)
    return found

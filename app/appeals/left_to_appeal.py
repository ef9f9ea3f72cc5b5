"""Who can still appeal where a heat is to be taken out of the draw?

The time for an appeal is counted as a window by advice would be (`about_not_held.py`), and awaited.
What ordered something that still stands is told by an announcement alone, so the time for an appeal
against it cannot run while the heat may yet be held. Where the edition sets no end to it nothing is
awaited: what was handed in before is taken in afterwards too.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from sqlalchemy import Connection, bindparam, select

from app.appeals.about_not_held import time_without_announcement
from app.appeals.bench import Bench, bench_for
from app.appeals.carrying import take_back_all
from app.appeals.tables import decisions, protests
from app.appeals.wire import Instance, Verdict
from app.ids import HeatId
from app.meets.queries import MeetFacts
from app.refusals import NoLongerStands, Refusal
from app.results.wording import time_aloud
from app.rulings.jurys_word import JURY_HAS_SETTLED, STANDS_SINCE
from app.store.rows import AnyRow

TAKES_BACK = frozenset({"undo", "recall", "call off"})
"""Orders that take back what another decision has ordered."""

GIVES = frozenset({"advanced", "lane given", "run again", "held after all"})
"""What undoing can give back to a team as well."""

_DECIDED = (
    select(
        decisions,
        protests.c.number,
        JURY_HAS_SETTLED.label("is_settled"),
        STANDS_SINCE.label("stands_since"),
    )
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(decisions.c.heat_id == bindparam("heat"), decisions.c.replaced_by.is_(None))
    .order_by(decisions.c.seq)
)


def left_to_appeal(
    conn: Connection, meet: MeetFacts, heat_id: HeatId, now: datetime
) -> Iterator[str]:
    """The referee's decisions on a heat that somebody can still appeal against, though nothing is
    announced of it, a sentence each with the way out; not those that are still to be told.
    """
    for row in _can_be_appealed(conn, heat_id):
        if _orders_what_stands(conn, meet, row):
            yield (
                f"The decision on protest {row.number} ordered something, and the time for an "
                "appeal against it runs from an announcement alone. Have that taken back by "
                "another decision on this heat, and ordered on a protest that names a heat that is "
                "held; or have the jury decide."
            )
            continue
        time = time_without_announcement(meet, row)
        until = None if time is None else time.closes_at
        if until is not None and until >= now:
            yield (
                f"An appeal against the decision on protest {row.number} can be lodged until "
                f"{time_aloud(until, now, meet.time_zone)}. Say it after that."
            )


def _can_be_appealed(conn: Connection, heat_id: HeatId) -> list[AnyRow]:
    """The referee's decisions on a heat, in order, that the jury has not settled, and which no
    other one has undone that stands itself.
    """
    undone: set[str] = set()
    found: list[AnyRow] = []
    for row in reversed(conn.execute(_DECIDED, {"heat": heat_id}).all()):
        if row.id in undone:
            continue
        undone |= {order["decision"] for order in row.orders if order["order"] == "undo"}
        is_the_referees = row.instance == Instance.REFEREE and row.verdict != Verdict.REFERRED
        if is_the_referees and not row.is_settled:
            found.append(row)
    return found[::-1]


def _orders_what_stands(conn: Connection, meet: MeetFacts, decided: AnyRow) -> bool:
    """Whether a decision did more than take another one back, and something of that is left."""
    gives = any(kept["did"] in GIVES for kept in decided.carried_out)
    if all(order["order"] in TAKES_BACK for order in decided.orders) and not gives:
        return False
    bench = bench_for(conn, meet, HeatId(decided.heat_id), Instance.JURY)
    return bool(decided.carried_out) and _is_anything_left(bench, decided)


def _is_anything_left(bench: Bench, decided: AnyRow) -> bool:
    """What can no longer be taken back stands as well."""
    try:
        take_back_all(bench, decided)
    except NoLongerStands:
        return False
    except Refusal:
        return True
    return True

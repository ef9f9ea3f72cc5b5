"""Which of the referee's decisions has the jury settled by what it decided on another protest?

One that it undid, or had the last word about in all that it did. Nobody can appeal against it then
(World Athletics TR8.11): that would be an appeal against the jury. Where the jury hears its own
appeal again and takes that back, the referee's decision stands again, and can be appealed.
"""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import update

from app.appeals.decision_queries import decisions_in_round
from app.appeals.last_about import about, changes, standing_among
from app.appeals.tables import decisions
from app.appeals.wire import Instance
from app.ids import HeatId
from app.store.action import Unit
from app.store.rows import AnyRow


def keep_what_is_settled(unit: Unit, heat_id: HeatId) -> None:
    """Keep with each of the referee's decisions in a heat's round by which one of the jury it is
    settled, after the jury's last one is stored and has replaced what was before it. Those on
    whose own protest the jury has decided are settled by that.
    """
    known = decisions_in_round(unit.conn, heat_id)
    heard = {one.protest_id for one in known if _is_the_jurys(one) and one.replaced_by is None}
    for one in known:
        by = None if one.protest_id in heard else _settled_by(one, known)
        if by == one.settled_by:
            continue
        is_given_back = by is None and one.protest_id not in heard
        unit.conn.execute(
            update(decisions)
            .where(decisions.c.id == one.id)
            .values(settled_by=by, given_back=known[-1].seq if is_given_back else None)
        )


def _is_the_jurys(decision: AnyRow) -> bool:
    return bool(decision.instance == Instance.JURY.value)


def _settled_by(decision: AnyRow, known: Sequence[AnyRow]) -> str | None:
    """The jury's decision that undid this one, as it was ordered and stands, or that was the last
    about what it did, of which nothing stands.
    """
    undo = {"order": "undo", "decision": decision.id}
    for one in known:
        if _is_the_jurys(one) and one.replaced_by is None and undo in one.orders:
            return str(one.id)
    things = {about(kept, decision.heat_id) for kept in decision.carried_out}
    if any(decision.id in standing_among(known, thing) for thing in things):
        return None
    later = (one for one in known if one.seq > decision.seq)
    since = [one for one in later if any(changes(one, thing) for thing in things)]
    return str(since[-1].id) if since and _is_the_jurys(since[-1]) else None

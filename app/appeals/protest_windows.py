"""By which window is a protest measured?

By the one of its kind that opened last in its heat before it. Where a decision had called that heat
off, a re-run, what is protested against is that decision: so it is measured in the heat that the
re-run was of, by what was announced there since.
"""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, or_, select

from app.appeals.tables import decisions
from app.ids import HeatId
from app.results.tables import announcements, windows
from app.rounds.tables import re_runs
from app.rules.windows import Remedy
from app.store.rows import AnyRow

_REPEATS = (
    select(re_runs.c.heat_id).where(re_runs.c.run_heat_id == bindparam("heat")).scalar_subquery()
)
_WINDOWS = (
    select(windows, announcements.c.decisions_seen, _REPEATS.label("repeats"))
    .join(announcements, announcements.c.id == windows.c.announcement_id)
    .where(
        or_(windows.c.heat_id == bindparam("heat"), windows.c.heat_id == _REPEATS),
        windows.c.kind == bindparam("kind"),
        windows.c.remedy == Remedy.PROTEST.value,
        windows.c.opened_at <= bindparam("lodged_at", type_=windows.c.opened_at.type),
    )
    .order_by(windows.c.opened_at.desc(), windows.c.id.desc())
)
_DECIDED_BEFORE = (
    select(decisions.c.seq, decisions.c.carried_out, re_runs.c.heat_id)
    .join(re_runs, re_runs.c.meet_id == decisions.c.meet_id)
    .where(
        re_runs.c.run_heat_id == bindparam("heat"),
        decisions.c.decided_at <= bindparam("lodged_at", type_=decisions.c.decided_at.type),
    )
    .order_by(decisions.c.seq.desc())
)


class Measure(NamedTuple):
    """The heat whose windows count, and the number of the decision that they must tell of."""

    heat: HeatId
    told: int = 0


def window_for_protest(
    conn: Connection, heat_id: HeatId, kind: str, lodged_at: datetime
) -> AnyRow | None:
    """The window that a protest is measured by, None before any has opened."""
    asked = {"heat": heat_id, "kind": kind, "lodged_at": lodged_at}
    opened = conn.execute(_WINDOWS, asked).all()
    is_re_run = any(row.repeats is not None for row in opened)
    off = _called_off(conn, heat_id, lodged_at) if is_re_run else None
    where = off or Measure(heat_id)
    of_heat = (row for row in opened if row.heat_id == where.heat)
    return next((row for row in of_heat if row.decisions_seen >= where.told), None)


def _called_off(conn: Connection, heat_id: HeatId, lodged_at: datetime) -> Measure | None:
    """By what a protest about a re-run is measured that was called off by then, whatever was
    decided since. None for any other heat.
    """
    for row in conn.execute(_DECIDED_BEFORE, {"heat": heat_id, "lodged_at": lodged_at}):
        done = {one["did"] for one in row.carried_out if one.get("heat") == heat_id}
        if "held after all" in done:
            return None
        if "called off" in done:
            return Measure(HeatId(row.heat_id), row.seq)
    return None

"""By which window is a protest measured?

By the one of its kind that opened last in its heat before it. A disqualification in a re-run counts
in the heat that it repeats too and is protested in the re-run: so what tells it there opens the
time for it as well. Where a decision had called a re-run off, what is protested against is that
decision: so it is measured in the heat that the re-run was of, by what was announced there since.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection, bindparam, or_, select

from app.appeals.tables import decisions
from app.ids import AnnouncementId, HeatId
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

_RUNS_AGAIN = select(re_runs.c.teams).where(re_runs.c.run_heat_id == bindparam("heat"))
_TOLD = select(announcements.c.id, announcements.c.snapshot).where(
    announcements.c.id.in_(bindparam("announcements", expanding=True))
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
    telling = _telling_of_it(conn, heat_id, opened) if is_re_run and off is None else ()
    fitting = (row for row in opened if row.heat_id == where.heat or row.announcement_id in telling)
    return next((row for row in fitting if row.decisions_seen >= where.told), None)


def _telling_of_it(
    conn: Connection, heat_id: HeatId, opened: Sequence[AnyRow]
) -> Collection[AnnouncementId]:
    """The announcements of the heat that a re-run repeats by which a team is out by its re-run."""
    repeated = {row.announcement_id for row in opened if row.heat_id == row.repeats}
    if not repeated:
        return ()
    teams = set(conn.execute(_RUNS_AGAIN, {"heat": heat_id}).scalar_one())
    return {
        row.id
        for row in conn.execute(_TOLD, {"announcements": sorted(repeated)})
        for line in row.snapshot["lines"]
        if line.get("is_out_by_re_run") and line["team"] in teams
    }


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

"""Was it in time, and by how much? And does whoever lodges it belong to the round?

A protest is measured by the window of its kind that opened last before it; an appeal by the window
that the referee's decision opened. Nothing is stored but the window: where an announcement's time
is corrected, everything that hangs on it is measured anew. What came before any window is in time.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, or_, select

from app.appeals.wire import Timeliness
from app.clock import clock_time
from app.ids import DecisionId, HeatId, TeamId, WindowId
from app.meets.tables import heats, lanes
from app.results.tables import windows
from app.rules.windows import Remedy
from app.store.rows import AnyRow

_OF_HEAT = (
    select(windows)
    .where(windows.c.heat_id == bindparam("heat"), windows.c.remedy == Remedy.PROTEST.value)
    .order_by(windows.c.opened_at, windows.c.id)
)
_APPEALS = (
    select(windows)
    .where(
        windows.c.heat_id == bindparam("heat"),
        windows.c.remedy == Remedy.APPEAL.value,
        or_(
            windows.c.decision_id == bindparam("decision"),
            windows.c.decision_id.is_(None) & (windows.c.opened_at >= bindparam("decided_at")),
        ),
    )
    .order_by(windows.c.opened_at, windows.c.id)
)
_ONE = select(windows).where(windows.c.id == bindparam("window"))
_here = heats.alias("here")
_IN_ROUND = (
    select(lanes.c.lane, lanes.c.heat_id)
    .join(heats, heats.c.id == lanes.c.heat_id)
    .join(
        _here,
        (_here.c.event_id == heats.c.event_id) & (_here.c.round_key == heats.c.round_key),
    )
    .where(_here.c.id == bindparam("heat"), lanes.c.team_id == bindparam("team"))
)


def window_for_protest(
    conn: Connection, heat_id: HeatId, ground: str, lodged_at: datetime
) -> WindowId | None:
    """The window that a protest on this ground is measured by, None before any has opened."""
    of_kind = [row for row in conn.execute(_OF_HEAT, {"heat": heat_id}) if row.kind == ground]
    opened = [row for row in of_kind if row.opened_at <= lodged_at]
    return opened[-1].id if opened else None


def window_for_appeal(
    conn: Connection, heat_id: HeatId, decision: DecisionId, decided_at: datetime
) -> WindowId | None:
    """The first window for appeals that a decision opened, None while none has."""
    values = {"heat": heat_id, "decision": decision, "decided_at": decided_at}
    first = conn.execute(_APPEALS, values).first()
    return first.id if first is not None else None


def window_row(conn: Connection, window: WindowId | None) -> AnyRow | None:
    """A window by its id."""
    if window is None:
        return None
    return conn.execute(_ONE, {"window": window}).one()


def timeliness(window: AnyRow | None, lodged_at: datetime, zone: str) -> Timeliness:
    """Whether something lodged then fits its window; the last instant counts."""
    if window is None:
        return Timeliness(
            window=None,
            opened_by=None,
            closes_at=None,
            closes_at_local=None,
            rule=None,
            in_time=True,
            margin_seconds=None,
            words="in time: no window had opened yet",
        )
    closes_at: datetime | None = window.closes_at
    margin = None if closes_at is None else (closes_at - lodged_at).total_seconds()
    return Timeliness(
        window=window.id,
        opened_by=window.opened_by,
        closes_at=closes_at,
        closes_at_local=clock_time(closes_at, zone) if closes_at else None,
        rule=window.rule,
        in_time=margin is None or margin >= 0,
        margin_seconds=margin,
        words=_in_words(margin),
    )


def _in_words(margin: float | None) -> str:
    if margin is None:
        return "in time: no closing time"
    return f"in time by {_span(margin)}" if margin >= 0 else f"LATE by {_span(-margin)}"


def _span(seconds: float) -> str:
    """A stretch of time as people say it: "12 min 4 s"; less than a second is named as that."""
    whole = int(seconds)
    if whole < 1:
        return "less than 1 s"
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{hours} h" if hours else "", f"{minutes} min" if minutes else ""]
    parts.append(f"{rest} s" if rest or not (hours or minutes) else "")
    return " ".join(part for part in parts if part)


def lane_in_round(conn: Connection, heat_id: HeatId, team: TeamId) -> tuple[bool, int | None]:
    """Whether a team is in the round of this heat (World Athletics TR8.3), and its lane in it."""
    rows = conn.execute(_IN_ROUND, {"heat": heat_id, "team": team}).all()
    here = next((row.lane for row in rows if row.heat_id == heat_id), None)
    return bool(rows), here

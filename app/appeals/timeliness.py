"""Was it in time, and by how much?

A protest is measured by the window of its kind that opened last before it; an appeal by the window
that the referee's decision opened. Asked anew whenever it is read: where an announcement's time is
corrected, another window may be the one. What came before any window is in time.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from app.appeals.about_not_held import Counted
from app.appeals.which_heat import opened_by
from app.appeals.wire import Timeliness
from app.clock import clock_time
from app.ids import HeatId
from app.store.rows import AnyRow


def timeliness(
    conn: Connection,
    window: AnyRow | Counted | None,
    about: HeatId,
    lodged_at: datetime,
    zone: str,
) -> Timeliness:
    """Whether something about this heat, lodged then, fits its window; the last instant counts."""
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
        opened_by=opened_by(conn, window, about),
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

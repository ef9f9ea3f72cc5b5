"""What the results desk sees at a glance: heats by what is to be done about them, the windows that
run, and what waits for whom.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from app.appeals.waiting import Waiting, all_waiting
from app.ids import MeetId
from app.meets.states import HeatState
from app.meets.wire import HeatOut
from app.results.finality import NOT_ANNOUNCED, TO_ANNOUNCE, Finality, finality_of, heats_shown
from app.results.queries import blocked_by, heats_with_list, latest_announcements
from app.results.windows import windows_of
from app.results.wire import WindowOut

AGAIN = "again"
ORDER = (
    AGAIN,
    HeatState.JUDGED.value,
    HeatState.RUNNING.value,
    HeatState.ANNOUNCED.value,
    HeatState.TO_COME.value,
    HeatState.FINAL.value,
    HeatState.NOT_HELD.value,
)
"""What awaits the desk comes first."""
TO_BE_ANNOUNCED = frozenset({AGAIN, HeatState.JUDGED.value, HeatState.RUNNING.value})


@dataclass(frozen=True, slots=True)
class HeatLine:
    """A heat as the desk lists it: what stands in the way of announcing it, or what its result
    waits for.
    """

    heat: HeatOut
    standing: str
    has_list: bool
    in_the_way: Sequence[str]
    number: int | None
    announced_at: datetime | None
    finality: Finality


@dataclass(frozen=True, slots=True)
class Desk:
    """All of it. `waiting` is None for whoever may not read what was lodged."""

    groups: tuple[tuple[str, Sequence[HeatLine]], ...]
    next: int | None
    windows: Sequence[WindowOut]
    waiting: Sequence[Waiting] | None


def desk_of(
    conn: Connection, meet_id: MeetId, after: int, now: datetime, *, reads_protests: bool
) -> Desk:
    """The desk of a meet, with a page of its heats."""
    page = heats_shown(conn, meet_id, after, now)
    lines = _lines(conn, meet_id, page.heats, now)
    running = [one for one in windows_of(conn, meet_id, now).windows if _runs(one)]
    return Desk(
        groups=tuple(_grouped(lines)),
        next=page.next,
        windows=running,
        waiting=all_waiting(conn, meet_id) if reads_protests else None,
    )


def _runs(window: WindowOut) -> bool:
    return window.state in {"open", "to come"}


def _grouped(lines: Sequence[HeatLine]) -> Iterable[tuple[str, Sequence[HeatLine]]]:
    for standing in ORDER:
        here = [line for line in lines if line.standing == standing]
        if here:
            yield standing, here


def _lines(
    conn: Connection, meet_id: MeetId, heats: Sequence[HeatOut], now: datetime
) -> list[HeatLine]:
    latest = {row.heat_id: row for row in latest_announcements(conn, [one.id for one in heats])}
    finality = finality_of(conn, meet_id, latest, now)
    settled = {one.id: finality.get(one.id, NOT_ANNOUNCED) for one in heats}
    standing = {one.id: _standing(one, settled[one.id]) for one in heats}
    awaited = [one for one in heats if standing[one.id] in TO_BE_ANNOUNCED]
    with_list = heats_with_list(conn, [one.id for one in awaited])
    blocked = blocked_by(conn, meet_id, awaited)

    def line(heat: HeatOut) -> HeatLine:
        announced = latest.get(heat.id)
        return HeatLine(
            heat=heat,
            standing=standing[heat.id],
            has_list=heat.id in with_list,
            in_the_way=blocked.get(heat.id, ()),
            number=announced.number if announced is not None else None,
            announced_at=announced.announced_at if announced is not None else None,
            finality=settled[heat.id],
        )

    return [line(one) for one in heats]


def _standing(heat: HeatOut, settled: Finality) -> str:
    if heat.state is HeatState.ANNOUNCED and TO_ANNOUNCE in settled.pending:
        return AGAIN
    return heat.state.value

"""Which windows does an announcement open, and which a decision's advice? Opens and stores them.

Protests run from every announcement (World Athletics TR8.2); appeals from one that is amended by
a decision of the referee (TR8.7.1), or from the advice that nothing is amended (TR8.7.2). Against
what the jury decided nothing can be lodged (TR8.11): an announcement whose only news it is opens
none. What counts from the end of the meet, or has no limit, opens with a heat's first result and
runs on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert

from app.ids import AnnouncementId, DecisionId, HeatId, TeamId, WindowId, new_id
from app.meets.queries import MeetFacts, heat
from app.results.pending import decided_since
from app.results.queries import leads_on, result_row
from app.results.tables import windows
from app.rules.book import Book
from app.rules.windows import Window, WindowOpener, windows_opened
from app.rulings.queries import count_rulings_in_heat
from app.store.action import Unit
from app.store.rows import AnyRow

ONCE = (WindowOpener.END_OF_MEET, WindowOpener.ANY_TIME)


@dataclass(frozen=True, slots=True)
class News:
    """What an announcement has to tell beside the one before: the number of the round's last
    decision, whose decisions since then are in it, and whether one was made in this heat.
    """

    decisions: int
    is_first: bool
    by_referee: bool
    by_jury_alone: bool
    is_decided_here: bool = False

    @property
    def openers(self) -> tuple[WindowOpener, ...]:
        """What opens windows with this announcement."""
        if self.by_jury_alone:
            return ()
        amended = (WindowOpener.AMENDED_ANNOUNCEMENT,) if self.by_referee else ()
        return (WindowOpener.ANNOUNCEMENT, *amended, *(ONCE if self.is_first else ()))

    def why_no_windows(self, book: Book) -> str:
        """Why no window opens, for everybody; empty where one does."""
        return f"The jury's decision is final ({book.jury_final_by})." if self.by_jury_alone else ""


def news_since(unit: Unit, heat_id: HeatId, last: AnyRow | None) -> News:
    """What has come in a heat since its last announcement, None before the first."""
    decided = decided_since(unit.conn, heat_id, 0 if last is None else last.decisions_seen)
    if last is None:
        return News(decided.last, is_first=True, by_referee=False, by_jury_alone=False)
    alone = decided.by_jury and not decided.by_referee and not _moved_otherwise(unit, last)
    return News(decided.last, False, decided.by_referee, alone, decided.is_here)


def _moved_otherwise(unit: Unit, last: AnyRow) -> bool:
    """Whether a ruling, a finish list or a further race came since. A list that a decision has
    corrected is still the one that was loaded.
    """
    known = result_row(unit.conn, unit.meet_id, last.heat_id)
    version, loaded_at = (0, None) if known is None else (known.version, known.loaded_at)
    is_loaded_anew = version != last.list_seen and (not loaded_at or loaded_at > last.entered_at)
    ruled = count_rulings_in_heat(unit.conn, last.heat_id) != last.rulings_seen
    run = heat(unit.conn, unit.meet_id, last.heat_id).present_run
    return bool(is_loaded_anew or ruled or run != last.run_seen)


def opened_by_announcement(
    unit: Unit, meet: MeetFacts, at: datetime, heat_id: HeatId, news: News
) -> tuple[Window, ...]:
    """The windows that an announcement with these news opens; nothing is stored yet."""
    onward = leads_on(unit.conn, heat_id)
    return tuple(
        window for opener in news.openers for window in _opened(meet, opener, at, leads_on=onward)
    )


def open_windows(
    unit: Unit,
    meet: MeetFacts,
    opener: WindowOpener,
    at: datetime,
    *,
    heat_id: HeatId,
    announcement_id: AnnouncementId,
    opened_by: str,
    leads_on: bool = False,
    decision_id: DecisionId | None = None,
    team_id: TeamId | None = None,
) -> tuple[Window, ...]:
    """Open the windows of this opener, in the words of `opened_by`, such as "advice on protest 3".

    `decision_id` and `team_id` say whose window it is; what names no decision moves with the time
    of its announcement.
    """
    opened = _opened(meet, opener, at, leads_on=leads_on)
    store_windows(unit, opened, heat_id, announcement_id, opened_by, decision_id, team_id)
    return opened


def _opened(
    meet: MeetFacts, opener: WindowOpener, at: datetime, *, leads_on: bool
) -> tuple[Window, ...]:
    return windows_opened(
        opener, at, meet.book, meet.window_terms, leads_on=leads_on, ended_at=meet.ended_at
    )


def store_windows(
    unit: Unit,
    opened: Iterable[Window],
    heat_id: HeatId,
    announcement_id: AnnouncementId,
    opened_by: str,
    decision_id: DecisionId | None = None,
    team_id: TeamId | None = None,
) -> None:
    """Store windows that touch a heat; the announcement is stored before."""
    for window in opened:
        unit.conn.execute(
            insert(windows).values(
                id=WindowId(new_id()),
                meet_id=unit.meet_id,
                heat_id=heat_id,
                announcement_id=announcement_id,
                kind=window.kind,
                remedy=window.remedy.value,
                opened_by=opened_by,
                opened_at=window.opened_at,
                closes_at=window.closes_at,
                minutes=window.minutes,
                rule=window.rule,
                origin=window.origin,
                team_id=team_id,
                decision_id=decision_id,
                counts_from=window.counts_from,
            )
        )

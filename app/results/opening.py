"""Which windows does an announcement open, and which a decision's advice? Opens and stores them.

Protests run from every announcement (World Athletics TR8.2); appeals from one that is amended by
a decision of the referee (TR8.7.1), or from the advice that nothing is amended (TR8.7.2), but not
where the jury has decided on that protest meanwhile. Against what the jury decided nothing can be
lodged (TR8.11): an announcement whose only news it is opens none. What counts from the end of the
meet, or has no limit, opens with a heat's first result and runs on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert

from app.ids import AnnouncementId, DecisionId, HeatId, TeamId, WindowId, new_id
from app.meets.queries import MeetFacts
from app.record.canonical import digest_of
from app.results.one_round import leads_on
from app.results.pending import advised_before
from app.results.queries import RestsOn, announced_in_round, rests_on, says_the_same
from app.results.tables import windows
from app.results.told import Decided, decided_since
from app.results.wire import ResultOut
from app.rules.book import Book
from app.rules.windows import Window, WindowOpener, windows_opened
from app.store.action import Unit
from app.store.rows import AnyRow

ONCE = (WindowOpener.END_OF_MEET, WindowOpener.ANY_TIME)


@dataclass(frozen=True, slots=True)
class News:
    """What an announcement has to tell beside the one before: the number of the round's last
    decision, those that it is to tell and whether the whole of each, whether any of the referee's
    among them can be appealed, whether all is the jury's, whether one was made in this heat, and a
    digest of what else the result rests on.
    """

    decisions: int
    telling: Mapping[DecisionId, bool]
    is_first: bool
    can_be_appealed: bool
    by_jury_alone: bool
    is_decided_here: bool
    rests_on: str

    @property
    def openers(self) -> tuple[WindowOpener, ...]:
        """What opens windows with this announcement."""
        if self.by_jury_alone:
            return ()
        amended = (WindowOpener.AMENDED_ANNOUNCEMENT,) if self.can_be_appealed else ()
        return (WindowOpener.ANNOUNCEMENT, *amended, *(ONCE if self.is_first else ()))

    def why_no_windows(self, book: Book) -> str:
        """Why no window opens, for everybody; empty where one does."""
        return f"The jury's decision is final ({book.jury_final_by})." if self.by_jury_alone else ""


def news_since(unit: Unit, seen: ResultOut, last: AnyRow | None) -> News:
    """What has come in a heat since its last announcement, None before the first.

    A first result is amended where a decision made it what it is: on a protest of its heat, or one
    that moved a team of it. Only with it does the time for an appeal begin.
    """
    decided = decided_since(unit.conn, seen.heat, {line.team for line in seen.lines})
    now = rests_on(unit.conn, unit.meet_id, seen.heat)
    rests = _digest(seen.heat, now, decided)
    appealable = decided.can_be_appealed_here if last is None else decided.can_be_appealed
    alone = last is not None and _is_the_jurys_alone(unit, decided, last, seen, now)
    return News(
        decided.last, decided.telling, last is None, appealable, alone, decided.is_here, rests
    )


def _is_the_jurys_alone(
    unit: Unit, decided: Decided, last: AnyRow, seen: ResultOut, now: RestsOn
) -> bool:
    """Whether nothing but the jury has moved this result: it decided in this heat, or moved its
    letters from another heat of the round, and all else that it rests on is as it was.
    """
    before = now._replace(others=_without_first_since(unit, last, now.others))
    if decided.by_referee or _digest(seen.heat, before, decided) != last.else_seen:
        return False
    moved = decided.by_jury_elsewhere and not says_the_same(last.snapshot, seen.lines)
    return decided.by_jury_here or moved


def _without_first_since(unit: Unit, last: AnyRow, others: Sequence[AnyRow]) -> list[AnyRow]:
    """The round's other announcements without those that were the first of their heat and came
    after this one's `last`: what they made known of the whole round, they have told.
    """
    order = [one.id for one in announced_in_round(unit.conn, HeatId(last.heat_id))]
    since = set(order[order.index(last.id) + 1 :])
    return [one for one in others if one.number > 1 or one.id not in since]


def _digest(heat_id: HeatId, now: RestsOn, decided: Decided) -> str:
    """A digest of what a result rests on beside decisions, by counts: clocks are set. A list that a
    decision has corrected is still the one that was loaded.
    """
    corrected = decided.corrected
    others = [
        [other.heat_id, other.list_seen - lines, other.rulings_seen, other.run_seen]
        for other in now.others
        for lines in [sum(seq <= other.decisions_seen for seq in corrected.get(other.heat_id, ()))]
    ]
    loaded = now.list_version - len(corrected.get(heat_id, ()))
    stated = [loaded, now.rulings, now.run, now.setting, now.lots, others]
    if now.not_held:  # digests of before knew of no such heats
        stated.append(now.not_held)
    return digest_of(stated)


def open_what_was_told_before(
    unit: Unit, meet: MeetFacts, heat_id: HeatId, announcement_id: AnnouncementId, at: datetime
) -> None:
    """Open the windows of advices that came before there was anything to appeal against: they run
    from the first announcement.
    """
    for advised in advised_before(unit.conn, heat_id):
        open_windows(
            unit,
            meet,
            WindowOpener.ADVICE,
            max(at, advised.advised_at),
            heat_id=heat_id,
            announcement_id=announcement_id,
            opened_by=f"advice on protest {advised.number}",
            decision_id=DecisionId(advised.id),
            team_id=TeamId(advised.team_id),
        )


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

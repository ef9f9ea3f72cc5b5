"""Announcing results.

An announcement is a snapshot with a number; it is never changed, a later one supersedes it. From
its instant the protest window runs. A silent post or an open case needs the explicit word and a
reason, and both show on the announcement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import insert, select

from app.access.pen import Pen
from app.access.queries import Caller
from app.clock import in_zone
from app.ids import AnnouncementId, DecisionId, HeatId
from app.meets.actions import begin_run, set_heat_state
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.rehearsing import insist_no_rehearsal
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.meets.wire import HeatOut
from app.record.kinds import Kind
from app.refusals import (
    IdTaken,
    Malformed,
    NeedsWord,
    NotFound,
    Stale,
    StateConflict,
)
from app.results.announced_time import announcing_time
from app.results.announcement_wire import AnnouncementIn, AnnouncementOut
from app.results.called_off import insist_it_counts
from app.results.finality import (
    TO_LOOK_AT,
    TO_RECONSIDER,
    announcement_shown,
    finality_of,
)
from app.results.opening import (
    News,
    news_since,
    open_what_was_told_before,
    opened_by_announcement,
    store_windows,
)
from app.results.queries import last_announcement, result, result_row, says_the_same
from app.results.snapshots import Matter, recorded, said_by, snapshot
from app.results.tables import announcements, tellings
from app.results.wire import ResultOut
from app.rules.windows import Window
from app.rulings.queries import count_rulings_in_heat
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow


def announce(
    announcement_id: AnnouncementId, sent: AnnouncementIn, pen: Pen, version: int
) -> Action[Put[AnnouncementOut]]:
    """Announce a heat's result as it was looked at, signed with this pen."""

    def act(unit: Unit) -> Done[Put[AnnouncementOut]]:
        deed = None
        if not _is_known(unit, announcement_id, sent, pen.caller):
            pen.insist_may_sign(unit)
            deed = _announce(unit, _matter(unit, announcement_id, sent, version), pen)
        shown = announcement_shown(unit.conn, unit.meet_id, announcement_id, unit.now)
        return Done(Put(shown, created=deed is not None), deed)

    return act


def _announce(unit: Unit, matter: Matter, pen: Pen) -> Deed:
    """Sign what is announced, keep it, and open what follows from it."""
    made = snapshot(unit, matter)
    said = said_by(made, matter.sent.announced_at)
    signed = pen.sign(unit, "announcement", matter.ident, said)
    out = made.model_copy(update={"statement_digest": signed.sha256})
    _keep(unit, matter, out)
    _keep_what_is_told(unit, matter.ident, matter.news.telling)
    _open_windows(unit, matter, out.number)
    _move_heat(unit, matter.heat)
    return Deed(Kind.ANNOUNCEMENT, matter.ident, recorded(out, signed))


def _is_known(
    unit: Unit, announcement_id: AnnouncementId, sent: AnnouncementIn, caller: Caller
) -> bool:
    """Whether just this was announced before; IdTaken where the id is something else's."""
    asked = select(announcements).where(announcements.c.id == announcement_id)
    known = unit.conn.execute(asked).one_or_none()
    if known is not None:
        _insist_same(known, unit, caller, sent.content())
    return known is not None


def _matter(
    unit: Unit, announcement_id: AnnouncementId, sent: AnnouncementIn, version: int
) -> Matter:
    """What is to be announced, looked at from all sides; refused where it cannot be."""
    heat_id = HeatId(sent.heat)
    insist_no_rehearsal(unit.conn, heat_id)
    insist_it_counts(unit.conn, heat_id)
    seen = _what_is_announced(unit, heat_id, version)
    _insist_on_word(seen, sent.despite)
    last = last_announcement(unit.conn, heat_id)
    news = news_since(unit, seen, last)
    _insist_on_news(unit, last, seen, news, sent.remark)
    facts, meet = heat(unit.conn, unit.meet_id, heat_id), meet_facts(unit.conn, unit.meet_id)
    at = announcing_time(unit, sent.announced_at, last, facts)
    opened = opened_by_announcement(unit, meet, at, heat_id, news)
    _insist_still_open(opened, unit, meet, sent.remark)
    return Matter(announcement_id, sent, seen, last, facts, meet, at, opened, news)


def _keep(unit: Unit, matter: Matter, out: AnnouncementOut) -> None:
    """The announcement, and what was known when it was made."""
    heat_id, news = HeatId(matter.heat.id), matter.news
    unit.conn.execute(
        insert(announcements).values(
            id=matter.ident,
            meet_id=unit.meet_id,
            heat_id=heat_id,
            number=out.number,
            official_id=out.announced_by,
            announced_at=matter.at,
            entered_at=unit.now,
            snapshot=out.snapshot(),
            statement_digest=out.statement_digest,
            content=matter.sent.content(),
            list_seen=_list_version(unit, heat_id),
            rulings_seen=count_rulings_in_heat(unit.conn, heat_id),
            run_seen=matter.heat.present_run,
            decisions_seen=news.decisions,
            else_seen=news.rests_on,
            tells_who_goes_on=int(bool(out.qualified)),
        )
    )


def _open_windows(unit: Unit, matter: Matter, number: int) -> None:
    heat_id = HeatId(matter.heat.id)
    store_windows(unit, matter.opened, heat_id, matter.ident, f"announcement {number}")
    open_what_was_told_before(unit, matter.meet, heat_id, matter.ident, matter.at)


def _move_heat(unit: Unit, facts: HeatOut) -> None:
    """The heat is announced; one that nobody had started has run by that."""
    step = HEAT_TABLE.step(facts.state, HeatAct.ANNOUNCE)
    if facts.state is HeatState.TO_COME:
        begin_run(unit, facts)
    set_heat_state(unit, HeatId(facts.id), step.becomes)


def _keep_what_is_told(
    unit: Unit, announcement_id: AnnouncementId, telling: Mapping[DecisionId, bool]
) -> None:
    told = [
        {"announcement_id": announcement_id, "decision_id": decision, "is_whole": int(is_whole)}
        for decision, is_whole in telling.items()
    ]
    if told:
        unit.conn.execute(insert(tellings), told)


def _insist_same(known: AnyRow, unit: Unit, caller: Caller, content: dict[str, object]) -> None:
    same = known.meet_id == unit.meet_id and known.official_id == caller.official_id
    if not same or known.content != content:
        raise IdTaken("an announcement", known.id)


def _what_is_announced(unit: Unit, heat_id: HeatId, version: int) -> ResultOut:
    try:
        seen = result(unit.conn, unit.meet_id, heat_id)
    except NotFound as error:
        raise StateConflict(error.detail) from error
    if seen.version != version:
        raise Stale(
            "The finish list, a ruling or who qualifies has changed since you looked at this "
            "result. "
            "Look at it again, then announce it."
        )
    if seen.is_list_outdated:
        raise StateConflict(
            "Since this finish list was loaded the heat was started anew, or its start list has "
            "changed. Load the finish list of this race, with a row for every team."
        )
    return seen


def _list_version(unit: Unit, heat_id: HeatId) -> int:
    known = result_row(unit.conn, unit.meet_id, heat_id)
    return known.version if known is not None else 0


def _insist_on_word(seen: ResultOut, despite: str | None) -> None:
    blockers = seen.blockers
    if blockers.is_clear and despite is not None:
        raise Malformed(
            "Every post has called and nothing awaits a ruling: there is nothing to announce this "
            "despite of. Leave “despite” out.",
            field="/despite",
        )
    if blockers.is_clear or despite is not None:
        return
    raise NeedsWord(
        f"In the way of this announcement: {blockers.words}. To announce all the same, give the "
        "reason in “despite”; it will show on the announcement.",
        field="/despite",
        silent_posts=blockers.silent_posts,
        open_cases=blockers.open_cases,
        shaken_rulings=blockers.shaken_rulings,
        shaken_disqualifications=blockers.shaken_disqualifications,
        awaited_accounts=blockers.awaited_accounts,
        not_started=blockers.not_started,
        no_posts=blockers.no_posts,
        in_the_way=seen.in_the_way,
    )


def _insist_on_news(
    unit: Unit, last: AnyRow | None, seen: ResultOut, news: News, remark: str
) -> None:
    """A second announcement opens a second protest window: it says what it is for. A final result
    has no news either, and is final no more while that window runs.
    """
    if last is None or remark or news.is_decided_here or seen.completes_round:
        return
    if not says_the_same(last.snapshot, seen.lines):
        return
    finality = finality_of(unit.conn, unit.meet_id, [seen.heat], unit.now)[seen.heat]
    zone = meet_facts(unit.conn, unit.meet_id).time_zone
    final = f", and final since {in_zone(finality.since, zone)}" if finality.since else ""
    first = "".join(f" {one}" for one in finality.pending if one in {TO_RECONSIDER, TO_LOOK_AT})
    runs = "" if news.by_jury_alone else "; a further protest window will then run"
    raise NeedsWord(
        f"This result is the same as in announcement {last.number} of this heat{final}.{first} To "
        f"announce it again, say why in “remark”{runs}.",
        field="/remark",
    )


def _insist_still_open(opened: Sequence[Window], unit: Unit, meet: MeetFacts, remark: str) -> None:
    """Nobody can use a window that is over when it becomes known: whoever enters it says why."""
    ends = [one.closes_at for one in opened if one.closes_at and one.counts_from is None]
    if not remark and ends and max(ends) < unit.now:
        raise NeedsWord(
            "Announced then, the time for protests would be over already (until "
            f"{in_zone(max(ends), meet.time_zone)}). Look at the time; if it is right, say in "
            "“remark” why it is entered so late.",
            field="/remark",
        )

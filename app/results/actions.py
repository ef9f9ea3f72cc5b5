"""Loading finish lists and announcing results.

An announcement is a snapshot with a number; it is never changed, a later one supersedes it. From
its instant the protest window runs. A silent post or an open case needs the explicit word and a
reason, and both show on the announcement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any, NamedTuple

from sqlalchemy import insert, select, update

from app.access.pen import Pen, Signed
from app.access.queries import Caller, official_row
from app.clock import in_zone
from app.ids import AnnouncementId, DecisionId, HeatId, OfficialId, TeamId
from app.meets.actions import begin_run, set_heat_state
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.record.canonical import digest_of
from app.record.kinds import Kind
from app.refusals import (
    IdTaken,
    Malformed,
    NeedsWord,
    NotFound,
    PreconditionMissing,
    Stale,
    StateConflict,
)
from app.results.announced_time import announcing_time
from app.results.called_off import insist_it_counts
from app.results.changes import Changes, changes
from app.results.correcting import insist_jurys_word_on_lines, insist_on_decided_lines
from app.results.finality import (
    TO_LOOK_AT,
    TO_RECONSIDER,
    announcement_shown,
    finality_of,
    result_shown,
)
from app.results.matching import insist_list_is_of
from app.results.opening import (
    News,
    news_since,
    open_what_was_told_before,
    opened_by_announcement,
    store_windows,
)
from app.results.queries import last_announcement, result, result_row, says_the_same
from app.results.tables import announcements, results, tellings
from app.results.through import as_told_since, through_since, told_of_themselves
from app.results.told import told_since
from app.results.wire import (
    AnnouncementIn,
    AnnouncementOut,
    ResultOut,
    SnapshotWindow,
)
from app.rounds.queries import decided_before_re_run
from app.rules.windows import Window
from app.rulings.queries import count_rulings_in_heat
from app.sheets.finish_list import FinishRow
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.rows import AnyRow

COMPLETES_ROUND = "A heat of this round is not held, so that this result makes the round complete."


def load_result(
    heat_id: HeatId, rows: Sequence[FinishRow], content: bytes, caller: Caller, version: int | None
) -> Action[Put[ResultOut]]:
    """Load a heat's finish list; with If-Match, replace it."""

    def act(unit: Unit) -> Done[Put[ResultOut]]:
        facts = heat(unit.conn, unit.meet_id, heat_id)
        insist_list_is_of(facts, rows)
        teams = {lane.lane: lane.team for lane in facts.lanes}
        stored = [_as_stored(row, teams[row.lane]) for row in rows]
        insist_on_decided_lines(unit.conn, facts, stored)
        known = result_row(unit.conn, unit.meet_id, heat_id)
        if known is not None and (known.rows, known.run) == (stored, facts.present_run):
            same = result_shown(unit.conn, unit.meet_id, heat_id, unit.now)
            return Done(Put(same, created=False), None)
        insist_jurys_word_on_lines(unit.conn, meet_facts(unit.conn, unit.meet_id), facts, stored)
        values: dict[str, Any] = {
            "rows": stored,
            "loaded_by": caller.official_id,
            "loaded_at": unit.now,
            "run": facts.present_run,
        }
        if known is None:
            _insist_unnamed(version)
            unit.conn.execute(
                insert(results).values(heat_id=heat_id, meet_id=unit.meet_id, version=1, **values)
            )
        else:
            _insist_version(result(unit.conn, unit.meet_id, heat_id), version)
            unit.conn.execute(
                update(results)
                .where(results.c.heat_id == heat_id)
                .values(version=known.version + 1, **values)
            )
        out = result_shown(unit.conn, unit.meet_id, heat_id, unit.now)
        body = {"rows": stored, "run": facts.present_run, "sha256": sha256(content).hexdigest()}
        return Done(Put(out, created=known is None), Deed(Kind.RESULT_LOADED, heat_id, body))

    return act


def _insist_unnamed(version: int | None) -> None:
    if version is not None:
        raise Stale("This heat has no finish list yet: leave If-Match out to load the first.")


def _insist_version(seen: ResultOut, version: int | None) -> None:
    if version is None:
        raise PreconditionMissing(
            "This heat has a finish list already: send If-Match with its ETag to replace it."
        )
    if version != seen.version:
        raise Stale("This result was changed meanwhile. Read it again, then decide.")


def _as_stored(row: FinishRow, team: TeamId) -> dict[str, Any]:
    """A row with its team: the start list may be drawn anew before the result is announced."""
    return {
        "lane": row.lane,
        "team": team,
        "status": row.status.value,
        "thousandths": row.thousandths,
        "decimals": row.decimals,
        "place": row.place,
    }


def announce(
    announcement_id: AnnouncementId, sent: AnnouncementIn, pen: Pen, version: int
) -> Action[Put[AnnouncementOut]]:
    """Announce a heat's result as it was looked at, signed with this pen."""
    caller = pen.caller

    def act(unit: Unit) -> Done[Put[AnnouncementOut]]:
        content = sent.content()
        known = unit.conn.execute(
            select(announcements).where(announcements.c.id == announcement_id)
        ).one_or_none()
        if known is not None:
            _insist_same(known, unit, caller, content)
            out = announcement_shown(unit.conn, unit.meet_id, announcement_id, unit.now)
            return Done(Put(out, created=False), None)
        pen.insist_may_sign(unit)
        heat_id = HeatId(sent.heat)
        insist_it_counts(unit.conn, heat_id)
        seen = _what_is_announced(unit, heat_id, version)
        _insist_on_word(seen, sent.despite)
        last = last_announcement(unit.conn, heat_id)
        news = news_since(unit, seen, last)
        _insist_on_news(unit, last, seen, news, sent.remark)
        facts = heat(unit.conn, unit.meet_id, heat_id)
        at = announcing_time(unit, sent.announced_at, last, facts)
        meet = meet_facts(unit.conn, unit.meet_id)
        opened = opened_by_announcement(unit, meet, at, heat_id, news)
        _insist_still_open(opened, unit, meet, sent.remark)
        made = _snapshot(unit, announcement_id, sent, seen, last, at, meet, opened, news)
        signed = pen.sign(unit, "announcement", announcement_id, _said(made, sent.announced_at))
        out = made.model_copy(update={"statement_digest": signed.sha256})
        unit.conn.execute(
            insert(announcements).values(
                id=announcement_id,
                meet_id=unit.meet_id,
                heat_id=heat_id,
                number=out.number,
                official_id=caller.official_id,
                announced_at=at,
                entered_at=unit.now,
                snapshot=out.snapshot(),
                statement_digest=out.statement_digest,
                content=content,
                list_seen=_list_version(unit, heat_id),
                rulings_seen=count_rulings_in_heat(unit.conn, heat_id),
                run_seen=facts.present_run,
                decisions_seen=news.decisions,
                else_seen=news.rests_on,
                tells_who_goes_on=int(bool(out.qualified)),
            )
        )
        _keep_what_is_told(unit, announcement_id, news.telling)
        store_windows(unit, opened, heat_id, announcement_id, f"announcement {out.number}")
        open_what_was_told_before(unit, meet, heat_id, announcement_id, at)
        step = HEAT_TABLE.step(facts.state, HeatAct.ANNOUNCE)
        if facts.state is HeatState.TO_COME:
            begin_run(unit, facts)
        set_heat_state(unit, heat_id, step.becomes)
        deed = Deed(Kind.ANNOUNCEMENT, announcement_id, _recorded(out, signed))
        shown = announcement_shown(unit.conn, unit.meet_id, announcement_id, unit.now)
        return Done(Put(shown, created=True), deed)

    return act


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


def _snapshot(
    unit: Unit,
    announcement_id: AnnouncementId,
    sent: AnnouncementIn,
    seen: ResultOut,
    last: AnyRow | None,
    at: datetime,
    meet: MeetFacts,
    opened: Sequence[Window],
    news: News,
) -> AnnouncementOut:
    person = official_row(unit.conn, unit.meet_id, OfficialId(unit.actor.id))
    since = _since(unit, seen, last, at, meet.time_zone)
    return AnnouncementOut(
        id=announcement_id,
        heat=seen.heat,
        number=last.number + 1 if last else 1,
        supersedes=last.id if last else None,
        meet_name=meet.name,
        venue=meet.venue,
        time_zone=meet.time_zone,
        edition=meet.book.key,
        edition_title=f"{meet.book.title}, {meet.book.edition}",
        event_name=seen.event_name,
        round=seen.round,
        heat_number=seen.number,
        announced_at=at,
        announced_at_local=in_zone(at, meet.time_zone),
        entered_at=unit.now,
        announced_by=person.id,
        announced_by_name=person.name,
        lines=seen.lines,
        changes=since.changes.sentences,
        moved_only=since.changes.moved_only,
        through=since.through,
        despite=sent.despite,
        blockers=seen.blockers,
        remark=sent.remark,
        windows=[_snapshot_window(window) for window in opened],
        because=[*([COMPLETES_ROUND] if seen.completes_round else []), *since.because],
        is_ordered_here=news.is_decided_here,
        no_windows_because=news.why_no_windows(meet.book),
        abbreviations=_abbreviations(meet, seen),
        statement_digest="",
        qualified=seen.qualified,
        next_round=seen.next_round,
        by_time=seen.by_time,
        is_round_complete=seen.is_round_complete,
        open_draw=seen.open_draw,
    )


def _said(made: AnnouncementOut, given: datetime | None) -> dict[str, Any]:
    """What the desk signs: all that the announcement says. Not when it is stored, which nobody can
    be shown before: where no time was `given`, nor from when on what counts from it runs.
    """
    said = made.snapshot()
    for name in ("statement_digest", "entered_at", "announced_by", "announced_at_local"):
        del said[name]
    said["announcement"] = said.pop("id")
    if given is None:
        said["announced_at"] = None
        said["windows"] = [_without_its_end(window) for window in said["windows"]]
    return said


def _without_its_end(window: Mapping[str, Any]) -> dict[str, Any]:
    return {**window, "closes_at": window["closes_at"] if window["counts_from"] else None}


def _recorded(out: AnnouncementOut, signed: Signed) -> dict[str, Any]:
    """What the record keeps of an announcement: what was signed, what the storing added, and the
    digest of all that it tells.
    """
    added = {"announced_at", "announced_at_local", "entered_at", "windows"}
    told = out.model_dump(mode="json", include=added)
    return {**signed.body, **told, "facts_sha256": digest_of(out.snapshot())}


class _Since(NamedTuple):
    """What is otherwise than in the announcement before, and the decisions that made it so."""

    changes: Changes
    through: list[str]
    because: list[str]


def _since(unit: Unit, seen: ResultOut, last: AnyRow | None, at: datetime, zone: str) -> _Since:
    said = AnnouncementOut.model_validate(last.snapshot).lines if last else []
    before = as_told_since(unit.conn, seen, last, said)
    through = through_since(unit.conn, seen, last)
    concerned = through.teams.union(line.team for line in seen.lines)
    after = 0 if last else decided_before_re_run(unit.conn, seen.heat)
    return _Since(
        changes(before, seen.lines) if last else Changes([], 0),
        through.sentences(seen, told_of_themselves(seen.lines, before)),
        told_since(unit.conn, seen.heat, after, concerned, at, zone),
    )


def _snapshot_window(window: Window) -> SnapshotWindow:
    return SnapshotWindow(
        kind=window.kind,
        remedy=window.remedy,
        closes_at=window.closes_at,
        minutes=window.minutes,
        counts_from=window.counts_from,
        rule=window.rule,
        origin=window.origin,
    )


def _abbreviations(meet: MeetFacts, seen: ResultOut) -> dict[str, str]:
    """The edition's notations that this result uses, in words."""
    used = {word.strip(",") for line in seen.lines for word in line.annotation.split()}
    used |= {line.qualification for line in seen.lines if line.qualification}
    used |= {one.letter for one in seen.qualified}
    return {
        code: notation.meaning for code, notation in meet.book.notations.items() if code in used
    }

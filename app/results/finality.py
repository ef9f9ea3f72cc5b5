"""Since when is a result final, and what does it wait for?

A result is final when its latest announcement still holds, no case, protest, appeal or advice is
open, and every window that can lapse has lapsed (common practice: the rules fix the clocks only);
where teams go on from its round or its places score, in all heats of the round, and once all are
announced: each moves the others' letters and points; and in any round in a heat and its re-runs.
Nobody makes it so: it follows from what is stored and the time, so what comes later can undo it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TypeVar

from sqlalchemy import Connection

from app.appeals.about_not_held import times_where_not_held
from app.appeals.to_hear_again import awaiting_once_more
from app.clock import clock_time, in_zone, long_date, rfc3339
from app.ids import AnnouncementId, HeatId, MeetId
from app.meets.queries import heat, heats_page, meet_row
from app.meets.states import HeatState
from app.meets.wire import HeatOut, HeatsOut
from app.refusals import StateConflict
from app.reports.queries import open_cases_in
from app.results.announcement_wire import AnnouncementLine, AnnouncementOut, AnnouncementsOut
from app.results.announcements import announcement, announcements_page
from app.results.called_off import not_counting
from app.results.one_round import InRound, hanging_together, heats_to_run_again
from app.results.pending import Remedies, remedies_in
from app.results.queries import Holding, latest_announcements, result, still_holding
from app.results.windows import windows_in
from app.results.wire import AnnouncedOut, ResultOut
from app.results.wording import in_sentence, length, lodged
from app.rules.windows import Window
from app.rulings.queries import last_ruled_in
from app.rulings.shaken import disqualified_before, heats_with_shaken
from app.store.action import Action, Done, Unit
from app.store.rows import AnyRow

WindowKind = tuple[str, str]
NEVER = datetime.max.replace(tzinfo=UTC)

Thing = TypeVar("Thing")
Shown = TypeVar("Shown", AnnouncedOut, AnnouncementLine, AnnouncementOut)


@dataclass(frozen=True, slots=True)
class Finality:
    """Since when a heat's result is final, None while it is not; then what it waits for.

    A heat that was never announced is not final and waits for nothing.
    """

    since: datetime | None
    pending: tuple[str, ...]
    does_not_count: str = ""
    """Why: then it is never final, and waits for nothing."""


NOT_ANNOUNCED = Finality(None, ())
TO_ANNOUNCE = "An amended result is to be announced."
TO_RECONSIDER = "A ruling is to be looked at again."
FIRST_TO_ANNOUNCE = "Its result is to be announced."
TO_LOOK_AT = "A disqualification by decision is to be looked at again."


@dataclass(frozen=True, slots=True)
class _Found:
    """What is stored about heats and all others of their rounds, read together, by heat."""

    latest: Mapping[HeatId, AnyRow]
    shaken: frozenset[HeatId]
    disqualified_before: frozenset[HeatId]
    to_run_again: frozenset[HeatId]
    not_counting: Mapping[HeatId, str]
    open_cases: Mapping[HeatId, int]
    ruled_at: Mapping[HeatId, datetime]
    remedies: Mapping[HeatId, Remedies]
    once_more: Mapping[HeatId, Sequence[int]]
    windows: Mapping[HeatId, Sequence[Window]]
    rounds: Mapping[HeatId, OfRound]
    zone: str
    now: datetime


@dataclass(frozen=True, slots=True)
class OfRound:
    """What all heats of a round wait for that leads on or scores, since each can move the others'
    letters and points: how they are called, the announcements that count, sentences by heat, of
    each kind the window that closes last, and when all else was settled.
    """

    heats: Mapping[HeatId, InRound]
    announced: Mapping[HeatId, AnyRow]
    waits: Sequence[tuple[HeatId, str]]
    last: Mapping[WindowKind, tuple[str, Window]]
    settled_at: Sequence[datetime]


def finality_of(
    conn: Connection,
    meet_id: MeetId,
    heat_ids: Iterable[HeatId],
    now: datetime,
    holding: Holding | None = None,
) -> Mapping[HeatId, Finality]:
    """The finality of each of the heats, all read together. `holding`: which of the announcements
    still hold, where that was found out before; it takes longest.
    """
    asked = list(heat_ids)
    finality = dict.fromkeys(asked, NOT_ANNOUNCED)
    latest = latest_announcements(conn, asked) if asked else ()
    if latest:
        found = _find(conn, meet_id, latest, now)
        known = [] if holding is None else latest
        more = _holding(conn, meet_id, _with_their_rounds(latest, found, known))
        holding = more if holding is None else _together(holding, more)
        finality |= {row.heat_id: _finality(row, found, holding) for row in latest}
    return finality


def final_heats(
    conn: Connection, meet_id: MeetId, heat_ids: Iterable[HeatId], now: datetime
) -> frozenset[HeatId]:
    """Those of the heats whose result is final. Whether an announcement holds takes longest to find
    out, and is asked of those alone that wait for nothing else, and of the rest of their rounds.
    """
    asked = list(heat_ids)
    latest = latest_announcements(conn, asked) if asked else ()
    if not latest:
        return frozenset()
    found = _find(conn, meet_id, latest, now)
    waiting = [row for row in latest if not any(_open(row, found))]
    holding = _holding(conn, meet_id, _with_their_rounds(waiting, found))
    return frozenset(row.heat_id for row in waiting if not any(_to_announce(row, found, holding)))


def _with_their_rounds(
    rows: Sequence[AnyRow], found: _Found, without: Sequence[AnyRow] = ()
) -> list[AnyRow]:
    """Announcements with those of all other heats of their rounds, but for those known before."""
    together = {row.heat_id: row for row in rows}
    for row in rows:
        if row.heat_id in found.rounds:
            together |= found.rounds[row.heat_id].announced
    for row in without:
        together.pop(row.heat_id, None)
    return list(together.values())


def _holding(conn: Connection, meet_id: MeetId, rows: Sequence[AnyRow]) -> Holding:
    return still_holding(conn, meet_id, rows) if rows else Holding(frozenset(), {})


def _together(one: Holding, other: Holding) -> Holding:
    return Holding(one.announcements | other.announcements, {**one.draws, **other.draws})


def _find(conn: Connection, meet_id: MeetId, latest: Sequence[AnyRow], now: datetime) -> _Found:
    heat_ids = [HeatId(row.heat_id) for row in latest]
    rounds = hanging_together(conn, heat_ids)
    others = {one for heats in rounds.values() for one in heats} - set(heat_ids)
    all_latest = [*latest, *(latest_announcements(conn, others) if others else ())]
    everywhere = [*heat_ids, *others]
    zone = meet_row(conn, meet_id).time_zone
    remedies = remedies_in(conn, everywhere)
    found = _Found(
        latest={HeatId(row.heat_id): row for row in all_latest},
        shaken=heats_with_shaken(conn, everywhere),
        disqualified_before=frozenset(row.heat_id for row in disqualified_before(conn, everywhere)),
        to_run_again=heats_to_run_again(conn, everywhere),
        not_counting=not_counting(conn, everywhere),
        open_cases=open_cases_in(conn, everywhere),
        ruled_at=last_ruled_in(conn, everywhere),
        remedies=remedies,
        once_more=awaiting_once_more(conn, everywhere, zone),
        windows={
            **windows_in(conn, everywhere, remedies.keys()),
            **times_where_not_held(conn, meet_id, everywhere),
        },
        rounds={},
        zone=zone,
        now=now,
    )
    of_heat = {
        one: of_round
        for heats in rounds.values()
        for of_round in [_of_round(heats, found)]
        for one in heats
    }
    return replace(found, rounds=of_heat)


def _of_round(heats: Mapping[HeatId, InRound], found: _Found) -> OfRound:
    """What the heats of a round wait for. One that was not announced, or does not count, awaits its
    remedies, and a drawn one its result: an appeal can undo the calling off of a re-run.
    """
    waits = [
        (one, f"{called.name}: {in_sentence(words)}")
        for one, called in heats.items()
        for words in _undecided_in(one, called, found)
    ]
    last = _last_in(heats, found)
    ends = [window.closes_at for _name, window in last.values() if window.closes_at is not None]
    announced = {
        one: found.latest[one]
        for one in heats
        if one in found.latest and one not in found.not_counting
    }
    settled = _settled_in(heats, announced, found)
    return OfRound(heats, announced, waits, last, [*ends, *settled])


def _last_in(
    heats: Mapping[HeatId, InRound], found: _Found
) -> Mapping[WindowKind, tuple[str, Window]]:
    """Of each kind the window of the heats that count that closes last, with its heat's name."""
    last: dict[WindowKind, tuple[str, Window]] = {}
    for one, called in heats.items():
        if one in found.not_counting:
            continue
        for kind, window in _last_to_close(found.windows.get(one, ())).items():
            if kind not in last or _closes(last[kind][1]) < _closes(window):
                last[kind] = called.name, window
    return last


def _settled_in(
    heats: Iterable[HeatId], announced: Mapping[HeatId, AnyRow], found: _Found
) -> Iterator[datetime]:
    """When what is no window was settled in the heats of a round: announced, ruled on, decided."""
    for one in heats:
        yield from found.remedies.get(one, Remedies()).settled_at
    for one, row in announced.items():
        yield row.announced_at
        yield found.ruled_at.get(one, row.announced_at)


def _finality(row: AnyRow, found: _Found, holding: Holding) -> Finality:
    if row.heat_id in found.not_counting:
        return Finality(None, (), found.not_counting[row.heat_id])
    waits = (*_to_announce(row, found, holding), *_open(row, found))
    pending = tuple(dict.fromkeys(waits))
    return Finality(None if pending else _since(row, found), pending)


def _to_announce(row: AnyRow, found: _Found, holding: Holding) -> Iterator[str]:
    """That an amended result is to come, of this heat or of another one of its round, or lots."""
    if row.id not in holding.announcements:
        yield _why_it_does_not_hold(row, found)
    if row.heat_id in found.rounds:
        of_round = found.rounds[row.heat_id]
        for one, other in of_round.announced.items():
            if one != row.heat_id and other.id not in holding.announcements:
                words = in_sentence(_why_it_does_not_hold(other, found))
                yield f"{of_round.heats[one].name}: {words}"
    if row.heat_id in holding.draws:
        yield holding.draws[row.heat_id]


def _why_it_does_not_hold(row: AnyRow, found: _Found) -> str:
    if row.state == HeatState.TO_COME:
        return "The heat is to be run again."
    if row.heat_id in found.shaken:
        return TO_RECONSIDER
    return TO_LOOK_AT if row.heat_id in found.disqualified_before else TO_ANNOUNCE


def _open(row: AnyRow, found: _Found) -> Iterator[str]:
    """What a result waits for beside an amended one, in words for everybody: nobody is named, and
    nothing of what is reported.
    """
    yield from _undecided(row, found)
    windows = _last_to_close(found.windows.get(row.heat_id, ()))
    yield from (_until(one, found) for one in windows.values() if _runs(one, found.now))
    if row.heat_id in found.rounds:
        yield from _in_the_round(row.heat_id, windows, found)


def _in_the_round(
    heat_id: HeatId, windows: Mapping[WindowKind, Window], found: _Found
) -> Iterator[str]:
    """What the other heats of its round wait for; of their windows only what outlasts its own."""
    of_round = found.rounds[heat_id]
    yield from (words for one, words in of_round.waits if one != heat_id)
    for kind, (name, window) in of_round.last.items():
        outlasts = kind not in windows or _closes(windows[kind]) < _closes(window)
        if outlasts and _runs(window, found.now):
            yield f"{name}: {in_sentence(_until(window, found))}"


def _undecided_in(heat_id: HeatId, called: InRound, found: _Found) -> Iterator[str]:
    """What somebody has to do yet about a heat: one that was announced and counts, or was not. Of a
    re-run that is to come its heat says so.
    """
    row = found.latest.get(heat_id)
    if row is not None and heat_id not in found.not_counting:
        yield from _undecided(row, found)
        return
    if called.is_drawn:
        yield FIRST_TO_ANNOUNCE
    yield from _remedies_awaited(heat_id, found)


def _undecided(row: AnyRow, found: _Found) -> Iterator[str]:
    """What somebody has to do yet about an announced heat."""
    heat_id = row.heat_id
    if row.is_ordered_since:
        yield TO_ANNOUNCE
    if heat_id in found.to_run_again:
        yield "The re-run of some teams is to come."
    count = found.open_cases.get(heat_id, 0)
    if count:
        yield f"{'A case awaits' if count == 1 else f'{count} cases await'} the head official."
    yield from _remedies_awaited(heat_id, found)


def _remedies_awaited(heat_id: HeatId, found: _Found) -> Iterator[str]:
    yield from found.remedies.get(heat_id, Remedies()).awaited
    for number in found.once_more.get(heat_id, ()):
        yield f"Protest {number} was in time, and awaits the referee once more."


def _last_to_close(windows: Iterable[Window]) -> Mapping[WindowKind, Window]:
    """Of each kind the window that closes last; not those that never close."""
    waiting = (one for one in windows if one.can_lapse)
    return {(one.remedy, one.kind): one for one in sorted(waiting, key=_closes)}


def _closes(window: Window) -> datetime:
    return window.closes_at or NEVER


def _runs(window: Window, now: datetime) -> bool:
    return _closes(window) >= now


def _until(window: Window, found: _Found) -> str:
    """Until when something can still be lodged."""
    return f"{lodged(window.remedy, window.kind)} until {_end(window, found.zone, found.now)}."


def _end(window: Window, zone: str, now: datetime) -> str:
    if window.closes_at is None:
        return f"{length(window.minutes or 0)} after the end of the meet"
    until, day = clock_time(window.closes_at, zone), long_date(window.closes_at, zone)
    return until if day == long_date(now, zone) else f"{day}, {until}"


def _since(row: AnyRow, found: _Found) -> datetime:
    """When the last of the conditions became true, as far as instants are stored."""
    windows = found.windows.get(row.heat_id, ())
    remedies = found.remedies.get(row.heat_id, Remedies())
    ends = [one.closes_at for one in windows if one.closes_at is not None]
    announced_at: datetime = row.announced_at
    ruled_at = found.ruled_at.get(row.heat_id, announced_at)
    of_round = found.rounds.get(row.heat_id)
    elsewhere = of_round.settled_at if of_round is not None else ()
    return max(announced_at, ruled_at, *ends, *remedies.settled_at, *elsewhere)


def result_shown(conn: Connection, meet_id: MeetId, heat_id: HeatId, now: datetime) -> ResultOut:
    """A heat's result as it would be announced now, and since when it is final."""
    out = result(conn, meet_id, heat_id)
    if out.announced is None:
        return out
    one = finality_of(conn, meet_id, [heat_id], now)[heat_id]
    return out.model_copy(update={"announced": _with(out.announced, one)})


def announcement_shown(
    conn: Connection, meet_id: MeetId, announcement_id: AnnouncementId, now: datetime
) -> AnnouncementOut:
    """One announcement; where it is the one that stands, since when it is final."""
    made = announcement(conn, meet_id, announcement_id)
    if made.superseded_by is not None:
        return made
    return _with(made, finality_of(conn, meet_id, [made.heat], now)[made.heat])


def announcements_shown(
    conn: Connection, meet_id: MeetId, before: str | None, now: datetime
) -> AnnouncementsOut:
    """A page of announcements; those that stand say since when they are final."""
    page, holding = announcements_page(conn, meet_id, before)
    standing = {line.heat for line in page.announcements if line.is_latest}
    found = finality_of(conn, meet_id, standing, now, holding)
    lines = [
        _with(line, found[line.heat]) if line.is_latest else line for line in page.announcements
    ]
    return page.model_copy(update={"announcements": lines})


def heat_shown(conn: Connection, meet_id: MeetId, heat_id: HeatId, now: datetime) -> HeatOut:
    """One heat with its lanes, “final” where its result is, and whether it counts."""
    (shown,) = _with_final(conn, meet_id, [heat(conn, meet_id, heat_id)], now)
    return shown


def heats_shown(conn: Connection, meet_id: MeetId, after: int, now: datetime) -> HeatsOut:
    """A page of heats in the order of the programme, each shown like one."""
    page = heats_page(conn, meet_id, after)
    return page.model_copy(update={"heats": _with_final(conn, meet_id, page.heats, now)})


def unless_final(heat_id: HeatId, act: Action[Thing]) -> Action[Thing]:
    """An act on a heat whose result may not be final: StateConflict says since when it is."""

    def guarded(unit: Unit) -> Done[Thing]:
        since = finality_of(unit.conn, unit.meet_id, [heat_id], unit.now)[heat_id].since
        if since is not None:
            zone = meet_row(unit.conn, unit.meet_id).time_zone
            raise StateConflict(
                f"The result of this heat has been final since {in_zone(since, zone)}, so the heat "
                "stays as it is. Nothing was changed.",
                final_since=rfc3339(since),
            )
        return act(unit)

    return guarded


def _with(shown: Shown, one: Finality) -> Shown:
    return shown.model_copy(
        update={
            "final_since": one.since,
            "pending": list(one.pending),
            "does_not_count": one.does_not_count,
        }
    )


def _with_final(
    conn: Connection, meet_id: MeetId, heats: Sequence[HeatOut], now: datetime
) -> list[HeatOut]:
    announced = [one.id for one in heats if one.state is HeatState.ANNOUNCED]
    final = final_heats(conn, meet_id, announced, now)
    becomes: dict[HeatId, dict[str, object]] = {one: {"state": HeatState.FINAL} for one in final}
    for one, why in not_counting(conn, [row.id for row in heats]).items():
        becomes[one] = {"does_not_count": why}
    return [one.model_copy(update=becomes[one.id]) if one.id in becomes else one for one in heats]

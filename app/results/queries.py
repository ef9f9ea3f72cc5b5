"""Reading results: as they would be announced now, and whether what was announced still holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import (
    Connection,
    and_,
    bindparam,
    false,
    func,
    literal_column,
    or_,
    select,
)

from app.access.tables import officials
from app.appeals.tables import decisions
from app.crew.queries import planned_in
from app.ids import AnnouncementId, CaseId, HeatId, MeetId
from app.meets.queries import PRESENT_RUN, heat, lanes_of, meet_row
from app.meets.states import HeatState
from app.meets.tables import events, heats
from app.meets.wire import HeatOut
from app.record.canonical import canonical
from app.refusals import NotFound
from app.reports.heard import post_lines
from app.reports.queries import CASE_COLUMNS, accounts_awaited
from app.reports.states import CaseState, ReportState
from app.reports.tables import cases, reports
from app.results.annotating import FinishLine, annotate
from app.results.announcement_wire import AnnouncementOut
from app.results.called_off import not_counting
from app.results.changes import changes
from app.results.in_the_way import InTheWay, by_lane
from app.results.letters import TOLD_OF_THE_ROUND, Letters, letters_in
from app.results.one_round import in_one_round, round_of
from app.results.tables import announcements, results
from app.results.wire import AnnouncedOut, ResultLineOut, ResultOut
from app.rounds.tables import lots, re_runs, rounds
from app.rulings.queries import count_rulings_in_heat, in_force_in, noted_in
from app.rulings.shaken import disqualified_before, heats_with_shaken, shaken_in
from app.rulings.tables import rulings
from app.store.rows import AnyRow

Thing = TypeVar("Thing")

_RESULT = select(results).where(
    results.c.meet_id == bindparam("meet"), results.c.heat_id == bindparam("heat")
)
_RESULTS = select(results).where(results.c.heat_id.in_(bindparam("heats", expanding=True)))
_WITH_LIST = select(results.c.heat_id).where(
    results.c.heat_id.in_(bindparam("heats", expanding=True))
)
_LAST_START = select(func.max(heats.c.started_at)).where(
    heats.c.meet_id == bindparam("meet"),
    heats.c.rehearsal == false(),
    heats.c.started_at <= bindparam("until"),
)
_OPEN_IN_HEATS = and_(
    cases.c.heat_id.in_(bindparam("heats", expanding=True)), cases.c.state == CaseState.OPEN.value
)
# Both sides of a join, here and below: PostgreSQL would else read all heats there are.
_OPEN_CASES = CASE_COLUMNS.where(_OPEN_IN_HEATS, heats.c.id.in_(bindparam("heats", expanding=True)))
_REPORTERS = (
    select(reports.c.case_id, officials.c.name)
    .join(cases, cases.c.id == reports.c.case_id)
    .join(officials, officials.c.id == reports.c.official_id)
    .where(_OPEN_IN_HEATS, reports.c.state != ReportState.WITHDRAWN.value)
    .order_by(reports.c.raised_at, reports.c.id)
)
_asked = heats.alias("asked")
_SET = (
    select(
        rounds.c.version,
        select(func.count())
        .select_from(lots)
        .where(lots.c.event_id == rounds.c.event_id, lots.c.round_key == rounds.c.round_key)
        .correlate(rounds)
        .scalar_subquery()
        .label("lots"),
    )
    .select_from(rounds)
    .join(
        _asked,
        and_(_asked.c.event_id == rounds.c.event_id, round_of(_asked) == rounds.c.round_key),
    )
    .where(_asked.c.id == bindparam("heat"))
)
_NOT_HELD = (
    select(func.count())
    .select_from(heats)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"), heats.c.state == HeatState.NOT_HELD.value)
)
_later = announcements.alias("later")
# Counted, not timed: clocks differ between machines, and are set.
_TOUCHED_SINCE = or_(
    select(func.count())
    .select_from(rulings)
    .where(rulings.c.heat_id == announcements.c.heat_id)
    .scalar_subquery()
    != announcements.c.rulings_seen,
    select(results.c.version).where(results.c.heat_id == announcements.c.heat_id).scalar_subquery()
    != announcements.c.list_seen,
    announcements.c.run_seen != PRESENT_RUN,
    # What is decided changes the result without a ruling; there are few of these.
    select(decisions.c.id).where(decisions.c.heat_id == announcements.c.heat_id).exists(),
)
# What was ordered here and is not announced yet is news, whatever the lines say.
_ORDERED_SINCE = (
    select(decisions.c.id)
    .where(
        decisions.c.heat_id == announcements.c.heat_id,
        decisions.c.seq > announcements.c.decisions_seen,
        decisions.c.replaced_by.is_(None),
        decisions.c.carried_out != literal_column("'[]'"),
        decisions.c.is_news == 1,
    )
    .exists()
)
_LAST = (
    select(announcements, _ORDERED_SINCE.label("is_ordered_since"))
    .where(announcements.c.heat_id == bindparam("heat"))
    .order_by(announcements.c.number.desc())
    .limit(1)
)
# The letters of its round move with other heats, lots and decisions; the rest of a result does not.
_HAS_LETTERS = or_(
    select(rounds.c.id)
    .where(rounds.c.event_id == heats.c.event_id, rounds.c.round_key == heats.c.round_key)
    .exists(),
    select(re_runs.c.id).where(re_runs.c.run_heat_id == heats.c.id).exists(),
)
_IS_LATEST = (
    ~select(_later.c.id)
    .where(
        _later.c.heat_id == announcements.c.heat_id,
        _later.c.number == announcements.c.number + 1,
    )
    .exists()
)
ANNOUNCED = (
    select(
        announcements.c.id,
        announcements.c.heat_id,
        announcements.c.number,
        announcements.c.announced_at,
        announcements.c.entered_at,
        announcements.c.decisions_seen,
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
        PRESENT_RUN.label("present_run"),
        heats.c.state,
        _IS_LATEST.label("is_latest"),
        _TOUCHED_SINCE.label("is_touched"),
        _HAS_LETTERS.label("has_letters"),
        _ORDERED_SINCE.label("is_ordered_since"),
    )
    .join(heats, heats.c.id == announcements.c.heat_id)
    .join(events, events.c.id == heats.c.event_id)
)
_LATEST = ANNOUNCED.where(
    announcements.c.heat_id.in_(bindparam("heats", expanding=True)),
    heats.c.id.in_(bindparam("heats", expanding=True)),
    _IS_LATEST,
)
_OTHERS_ANNOUNCED = (
    select(
        announcements.c.id,
        announcements.c.number,
        announcements.c.heat_id,
        announcements.c.list_seen,
        announcements.c.rulings_seen,
        announcements.c.run_seen,
        announcements.c.decisions_seen,
    )
    .join(heats, heats.c.id == announcements.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"), heats.c.id != _asked.c.id, _IS_LATEST)
    .order_by(announcements.c.heat_id)
)
SNAPSHOTS = select(announcements.c.heat_id, announcements.c.snapshot).where(
    announcements.c.id.in_(bindparam("announcements", expanding=True))
)
_IN_ROUND = (
    select(announcements.c.id, announcements.c.tells_who_goes_on)
    .join(heats, heats.c.id == announcements.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"))
    .order_by(
        announcements.c.entered_at,
        announcements.c.decisions_seen,
        heats.c.position,
        announcements.c.number,
    )
)


class RestsOn(NamedTuple):
    """What a heat's result rests on beside decisions: its finish list, rulings and run, how often
    its round was set and lots were drawn in it, how many of its heats are not held, and the same of
    the round's other announcements.
    """

    list_version: int
    rulings: int
    run: int
    setting: int
    lots: int
    not_held: int
    others: Sequence[AnyRow]


def last_start(conn: Connection, meet_id: MeetId, until: datetime) -> datetime | None:
    """When a heat of the meet was started last until then, None where none was."""
    found: datetime | None = conn.execute(
        _LAST_START, {"meet": meet_id, "until": until}
    ).scalar_one()
    return found


def rests_on(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> RestsOn:
    """What a heat's result rests on now; lists count as often as anybody changed them."""
    known, asked = result_row(conn, meet_id, heat_id), {"heat": heat_id}
    set_ = conn.execute(_SET, asked).one_or_none()
    return RestsOn(
        0 if known is None else known.version,
        count_rulings_in_heat(conn, heat_id),
        heat(conn, meet_id, heat_id).present_run,
        0 if set_ is None else set_.version,
        0 if set_ is None else set_.lots,
        conn.execute(_NOT_HELD, asked).scalar_one(),
        conn.execute(_OTHERS_ANNOUNCED, asked).all(),
    )


def result_row(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> AnyRow | None:
    """A heat's finish list as stored, None where none was loaded."""
    return conn.execute(_RESULT, {"meet": meet_id, "heat": heat_id}).one_or_none()


def heats_with_list(conn: Connection, heat_ids: Sequence[HeatId]) -> frozenset[HeatId]:
    """Those of the heats for which a finish list was loaded."""
    return frozenset(conn.execute(_WITH_LIST, {"heats": heat_ids}).scalars())


def result(conn: Connection, meet_id: MeetId, heat_id: HeatId) -> ResultOut:
    """The heat's annotated result as it would be announced now.

    Its version names what an announcement would say, the lines and what stands in the way: an
    announcement says by it exactly what was looked at.
    """
    facts = heat(conn, meet_id, heat_id)
    found = _lines_of(conn, {heat_id: facts.present_run})
    if heat_id not in found:
        raise NotFound("No finish list has been loaded for this heat yet.")
    lines = found[heat_id]
    letters = letters_in(conn, meet_id, [heat_id], [heat_id]).get(heat_id) if lines else None
    if lines and letters is not None:
        lines = letters.on(lines)
    completes = letters is not None and letters.first_told_by(heat_id)
    found_there = _in_the_way(conn, meet_id, [facts])[heat_id]
    last = last_announcement(conn, heat_id)
    out = ResultOut(
        heat=heat_id,
        event_name=facts.event_name,
        round=facts.round,
        number=facts.number,
        lines=lines or [],
        is_list_outdated=lines is None,
        blockers=found_there.blockers,
        in_the_way=found_there.words,
        announced=_announced(last, lines or [], found_there, completes=completes),
        completes_round=completes,
        version=0,
        **(letters.of_the_round() if letters is not None else {}),
    )
    version = _version_of(out, found_there, last, meet_row(conn, meet_id).version)
    return out.model_copy(update={"version": version})


def _lines_of(
    conn: Connection, runs: Mapping[HeatId, int]
) -> Mapping[HeatId, list[ResultLineOut] | None]:
    """The lines that results have now, for heats with a finish list, given their present runs.

    None where the list is of another race or another start list: places would be invented.
    """
    lanes, in_force = lanes_of(conn, runs), in_force_in(conn, runs)
    noted = noted_in(conn, runs)
    found: dict[HeatId, list[ResultLineOut] | None] = {}
    for row in conn.execute(_RESULTS, {"heats": list(runs)}):
        one, here = HeatId(row.heat_id), lanes.get(row.heat_id, [])
        finish = [FinishLine.from_stored(stored) for stored in row.rows]
        drawn = {(lane.lane, lane.team) for lane in here}
        is_of_it = row.run == runs[one] and drawn == {(line.lane, line.team) for line in finish}
        found[one] = (
            annotate(here, finish, in_force.get(one, []), noted.get(one, {})) if is_of_it else None
        )
    return found


def _version_of(
    out: ResultOut, found_there: InTheWay, last: AnyRow | None, meet_version: int
) -> int:
    """What an announcement would say: the meet's settings make its windows, the last its number."""
    seen = {
        "announced": last.number if last else 0,
        "does_not_count": found_there.does_not_count,
        "meet": meet_version,
        **out.model_dump(mode="json", include={"blockers", "lines", *TOLD_OF_THE_ROUND}),
    }
    return 1 + int.from_bytes(sha256(canonical(seen)).digest()[:4])


def _announced(
    last: AnyRow | None,
    lines: Sequence[ResultLineOut],
    found_there: InTheWay,
    *,
    completes: bool,
) -> AnnouncedOut | None:
    if last is None:
        return None
    shaken = found_there.shaken or found_there.disqualified_before
    fallen = found_there.not_started or found_there.does_not_count or shaken
    stands = not (fallen or last.is_ordered_since or completes)
    return AnnouncedOut(
        id=last.id,
        number=last.number,
        announced_at=last.announced_at,
        holds=stands and says_the_same(last.snapshot, lines),
    )


def says_the_same(snapshot: Mapping[str, Any], lines: Sequence[ResultLineOut]) -> bool:
    """Whether an announcement of these lines would change nothing."""
    return not changes(AnnouncementOut.model_validate(snapshot).lines, lines).sentences


def _in_the_way(
    conn: Connection, meet_id: MeetId, some: Sequence[HeatOut]
) -> Mapping[HeatId, InTheWay]:
    """What stands in the way of announcing heats, each kind in the order of lanes: read of all of
    them together.
    """
    ids = [one.id for one in some]
    posts = post_lines(conn, meet_id, some)
    planned = planned_in(conn, meet_id, [one for one in some if not posts[one.id]])
    accounts = _by_heat(accounts_awaited(conn, ids), lambda row: row.heat_id)
    open_cases = _by_heat(conn.execute(_OPEN_CASES, {"heats": ids}), lambda row: row.heat_id)
    reporters = _reporters(conn, ids)
    shaken = _by_heat(shaken_in(conn, ids), lambda one: one.heat)
    before = _by_heat(disqualified_before(conn, ids), lambda row: row.heat_id)
    off = not_counting(conn, ids)
    return {
        one.id: InTheWay(
            not_started=one.state is HeatState.TO_COME,
            no_posts=bool(planned.get(one.id)),
            silent=[line for line in posts[one.id] if line.flag is None],
            accounts=by_lane(accounts.get(one.id, ())),
            cases=by_lane(open_cases.get(one.id, ())),
            reporters=reporters,
            shaken=shaken.get(one.id, ()),
            disqualified_before=before.get(one.id, ()),
            teams={lane.lane: lane.name for lane in one.lanes},
            does_not_count=off.get(one.id, one.does_not_count),
        )
        for one in some
    }


def _by_heat(
    found: Iterable[Thing], heat_of: Callable[[Thing], HeatId]
) -> dict[HeatId, list[Thing]]:
    by_heat: dict[HeatId, list[Thing]] = {}
    for one in found:
        by_heat.setdefault(heat_of(one), []).append(one)
    return by_heat


def blocked_by(
    conn: Connection, meet_id: MeetId, some: Sequence[HeatOut]
) -> Mapping[HeatId, Sequence[str]]:
    """By heat what stands in the way of announcing it, in words for the desk, whether or not its
    finish list has come.
    """
    found = _in_the_way(conn, meet_id, some)
    return {heat_id: there.words for heat_id, there in found.items()}


def _reporters(conn: Connection, heat_ids: Sequence[HeatId]) -> Mapping[CaseId, Sequence[str]]:
    """Who wrote the reports that stand in the heats' open cases, in the order of their flags."""
    found: dict[CaseId, list[str]] = {}
    for row in conn.execute(_REPORTERS, {"heats": heat_ids}):
        found.setdefault(row.case_id, []).append(row.name)
    return {case: list(dict.fromkeys(names)) for case, names in found.items()}


def last_announcement(conn: Connection, heat_id: HeatId) -> AnyRow | None:
    """The announcement of a heat that stands, None before the first."""
    return conn.execute(_LAST, {"heat": heat_id}).one_or_none()


def announced_in_round(conn: Connection, heat_id: HeatId) -> Sequence[AnyRow]:
    """All announcements in a heat's round, in the order in which they were entered, and which of
    them tell who goes on.
    """
    return conn.execute(_IN_ROUND, {"heat": heat_id}).all()


def latest_announcements(conn: Connection, heat_ids: Iterable[HeatId]) -> Sequence[AnyRow]:
    """The announcements of heats that stand, as `still_holding` takes them."""
    return conn.execute(_LATEST, {"heats": list(heat_ids)}).all()


class Holding(NamedTuple):
    """Which announcements still say what the result is; and in which heats' rounds lots are to be
    drawn, in words.
    """

    announcements: frozenset[AnnouncementId]
    draws: Mapping[HeatId, str]


def still_holding(conn: Connection, meet_id: MeetId, page: Sequence[AnyRow]) -> Holding:
    """Those of the announcements that still hold, and the lots that are awaited after them.

    Results are worked out only where something touched them, all of a page together. Of one that
    nothing touched the letters alone are looked at, each round once.
    """
    latest = [row for row in page if row.is_latest and row.state != HeatState.TO_COME]
    asked = [row.heat_id for row in latest]
    shaken = heats_with_shaken(conn, asked)
    shaken |= {row.heat_id for row in disqualified_before(conn, asked)}
    fallen = shaken.union(not_counting(conn, asked))
    standing = [row for row in latest if row.heat_id not in fallen and not row.is_ordered_since]
    moving = [row for row in standing if row.is_touched or row.has_letters]
    lettered = [row.heat_id for row in moving if row.has_letters]
    letters = letters_in(conn, meet_id, lettered, ()) if lettered else {}
    changed = _changed(conn, moving, letters) if moving else frozenset()
    return Holding(
        frozenset(row.id for row in standing if row.heat_id not in changed),
        {one: of.lots_to_draw for one, of in letters.items() if of.lots_to_draw},
    )


def _changed(
    conn: Connection, moving: Sequence[AnyRow], letters: Mapping[HeatId, Letters]
) -> frozenset[HeatId]:
    """Letters are worked out by announcements alone: a list that moves them has changed itself."""
    touched = {row.heat_id: row.present_run for row in moving if row.is_touched}
    lines = dict(_lines_of(conn, touched)) if touched else {}
    for heat_id in lines.keys() & letters.keys():
        lines[heat_id] = letters[heat_id].on(lines[heat_id] or [])
    said = conn.execute(SNAPSHOTS, {"announcements": [row.id for row in moving]})
    return frozenset(row.heat_id for row in said if _says_otherwise(row, lines, letters))


def _says_otherwise(
    said: AnyRow,
    lines: Mapping[HeatId, list[ResultLineOut] | None],
    letters: Mapping[HeatId, Letters],
) -> bool:
    """Whether an announcement says something else than the lines, or the letters, as they are."""
    known = letters.get(said.heat_id)
    if known is not None and known.first_told_by(said.heat_id):
        return True
    if said.heat_id in lines:
        return not says_the_same(said.snapshot, lines[said.heat_id] or [])
    return known is not None and known.contradict(said.snapshot["lines"])

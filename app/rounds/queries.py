"""Reading rounds: how they are set, and the rows that a round's standing is worked out from.

All that a round is made of is read with a fixed number of statements, whatever its size.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    and_,
    bindparam,
    case,
    func,
    literal_column,
    or_,
    select,
    true,
)

from app.appeals.tables import decisions
from app.clock import clock_time, in_zone
from app.ids import EventId, HeatId, LotsId, MeetId, RoundId, TeamId
from app.meets.queries import meet_row
from app.meets.states import HeatState
from app.meets.tables import events, heats, meets, teams
from app.refusals import NotFound
from app.rounds.tables import lots, re_runs, rounds
from app.rounds.wire import LotsOut, RoundOut, RoundsOut, TeamLine
from app.store.prepared import Prepared
from app.store.rows import AnyRow

# Written out, not bound: the statements below are compiled once.
_IN_FORCE: ColumnElement[str] = literal_column("'in force'")


# One that is not held adds no heat to its round, and none is awaited of it.
_IS_HELD = heats.c.state != HeatState.NOT_HELD.value


def _heats_named(key: str) -> Any:
    return (
        select(func.count())
        .select_from(heats)
        .where(
            heats.c.event_id == rounds.c.event_id,
            heats.c.round_key == getattr(rounds.c, key),
            _IS_HELD,
        )
        .scalar_subquery()
    )


# One that is still to be drawn comes last, on both engines.
_FIRST_POSITION = func.coalesce(
    select(func.min(heats.c.position))
    .where(heats.c.event_id == rounds.c.event_id, heats.c.round_key == rounds.c.round_key)
    .scalar_subquery(),
    2**31 - 1,
)
_ROUNDS = (
    select(
        rounds,
        events.c.name.label("event_name"),
        _heats_named("round_key").label("heats"),
        _heats_named("next_key").label("next_heats"),
    )
    .join(events, events.c.id == rounds.c.event_id)
    .where(rounds.c.meet_id == bindparam("meet"))
)
_ROUNDS_OF_MEET = _ROUNDS.order_by(events.c.id, _FIRST_POSITION, rounds.c.round_key)
_ROUND_OUT = _ROUNDS.where(rounds.c.id == bindparam("round"))
_IS_REHEARSED = (
    select(heats.c.id).where(heats.c.event_id == events.c.id, heats.c.rehearsal == true()).exists()
)
_EVENTS = select(events.c.id, events.c.name).where(
    events.c.meet_id == bindparam("meet"), ~_IS_REHEARSED
)
_REHEARSAL_OF = select(heats.c.id).where(
    heats.c.event_id == bindparam("event"), heats.c.rehearsal == true()
)
_IS_RE_RUN = select(re_runs.c.id).where(re_runs.c.run_heat_id == heats.c.id).exists()
_DRAWN_ROUNDS = (
    select(
        heats.c.event_id,
        heats.c.round,
        heats.c.round_key,
        func.sum(case((_IS_HELD, 1), else_=0)).label("heats"),
    )
    .where(heats.c.event_id.in_(bindparam("events", expanding=True)), ~_IS_RE_RUN)
    .group_by(heats.c.event_id, heats.c.round, heats.c.round_key)
    .order_by(func.min(heats.c.position))
)
_SET_OF_EVENTS = (
    select(
        rounds.c.event_id,
        rounds.c.round_key,
        rounds.c.round,
        rounds.c.next_key,
        rounds.c.next_round,
    )
    .where(rounds.c.event_id.in_(bindparam("events", expanding=True)))
    .order_by(rounds.c.id)
)
_repeated = heats.alias("repeated")
_decided = heats.alias("decided")
_ROUNDS_OF_RE_RUNS = (
    select(heats.c.round_key, _repeated.c.round)
    .join(re_runs, re_runs.c.run_heat_id == heats.c.id)
    .join(_repeated, _repeated.c.id == re_runs.c.heat_id)
    .where(heats.c.event_id == bindparam("event"))
)
_LOTS_OUT = (
    select(lots, rounds.c.id.label("round_id"))
    .join(
        rounds,
        and_(rounds.c.event_id == lots.c.event_id, rounds.c.round_key == lots.c.round_key),
    )
    .where(lots.c.meet_id == bindparam("meet"), lots.c.id == bindparam("lots"))
)
_TEAM_NAMES = select(teams.c.id, teams.c.name).where(
    teams.c.id.in_(bindparam("teams", expanding=True))
)
_RE_RUN_OF_HEAT = Prepared(select(re_runs).where(re_runs.c.run_heat_id == bindparam("heat")))
_DECIDED_BEFORE = (
    select(decisions.c.seq - 1)
    .join(re_runs, re_runs.c.by_decision == decisions.c.id)
    .where(re_runs.c.run_heat_id == bindparam("heat"))
)
_CALLED_OFF = (
    select(
        re_runs.c.run_heat_id,
        decisions.c.instance,
        decisions.c.decided_at,
        meets.c.time_zone,
        _repeated.c.round,
        _repeated.c.number,
        func.coalesce(_decided.c.round, _repeated.c.round).label("round_decided"),
        func.coalesce(_decided.c.number, _repeated.c.number).label("number_decided"),
    )
    .join(meets, meets.c.id == re_runs.c.meet_id)
    .join(_repeated, _repeated.c.id == re_runs.c.heat_id)
    .outerjoin(decisions, decisions.c.id == re_runs.c.set_aside_by)
    .outerjoin(_decided, _decided.c.id == decisions.c.heat_id)
    .where(
        re_runs.c.run_heat_id.in_(bindparam("heats", expanding=True)),
        re_runs.c.state == literal_column("'called off'"),
    )
)
_RUNS_IN = func.coalesce(re_runs.c.round_key, heats.c.round_key)
_SET_ROUNDS = (
    select(heats.c.id, heats.c.event_id, rounds.c.round_key)
    .select_from(
        heats.outerjoin(
            re_runs, and_(re_runs.c.run_heat_id == heats.c.id, re_runs.c.state == _IN_FORCE)
        ).join(rounds, and_(rounds.c.event_id == heats.c.event_id, rounds.c.round_key == _RUNS_IN))
    )
    .where(heats.c.id.in_(bindparam("heats", expanding=True)))
)
_IS_DRAWN = (
    select(heats.c.id)
    .where(heats.c.event_id == rounds.c.event_id, heats.c.round_key == rounds.c.round_key)
    .exists()
)
_TO_ANNOUNCE = (
    select(heats.c.id)
    .where(
        heats.c.event_id == rounds.c.event_id,
        heats.c.round_key == rounds.c.round_key,
        heats.c.state != HeatState.ANNOUNCED.value,
        _IS_HELD,
    )
    .exists()
)
_SCORING = (
    select(
        rounds.c.id,
        rounds.c.event_id,
        rounds.c.round_key,
        rounds.c.round,
        events.c.name.label("event_name"),
        or_(~_IS_DRAWN, _TO_ANNOUNCE).label("to_announce"),
    )
    .join(events, events.c.id == rounds.c.event_id)
    .where(rounds.c.meet_id == bindparam("meet"), rounds.c.points != literal_column("'[]'"))
    .order_by(rounds.c.event_id, _FIRST_POSITION, rounds.c.round_key)
)


class RoundKey(NamedTuple):
    """A round by its event and the key of its name."""

    event: EventId
    key: str


def rounds_set_for(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, RoundKey]:
    """The rounds of those heats whose round is set; a re-run counts for the round it is of."""
    rows = conn.execute(_SET_ROUNDS, {"heats": list(heat_ids)})
    return {row.id: RoundKey(row.event_id, row.round_key) for row in rows}


def re_run_of_heat(conn: Connection, heat_id: HeatId) -> Any | None:
    """The re-run that was ordered as this heat, None for any other heat."""
    return _RE_RUN_OF_HEAT.first(conn, {"heat": heat_id})


def decided_before_re_run(conn: Connection, heat_id: HeatId) -> int:
    """The number of the last decision before the one that ordered a heat as a re-run: what was
    decided until then is told by the round that it repeats. 0 for any other heat.
    """
    before: int | None = conn.execute(_DECIDED_BEFORE, {"heat": heat_id}).scalar_one_or_none()
    return before or 0


class CalledOff(NamedTuple):
    """By whose decision a re-run was called off, on which heat, and which it was of, in words."""

    whose: str
    decided_on: str
    of: str


def re_runs_called_off(conn: Connection, heat_ids: Iterable[HeatId]) -> Mapping[HeatId, CalledOff]:
    """Of these heats the re-runs that were called off."""
    rows = conn.execute(_CALLED_OFF, {"heats": list(heat_ids)})
    return {
        row.run_heat_id: CalledOff(
            whose=_by_whose_decision(row),
            decided_on=f"{row.round_decided}, heat {row.number_decided}",
            of=f"{row.round}, heat {row.number}",
        )
        for row in rows
    }


def _by_whose_decision(row: AnyRow) -> str:
    if row.instance is None:
        return "by a decision"
    return f"by the decision of the {row.instance} at {clock_time(row.decided_at, row.time_zone)}"


def round_row(conn: Connection, meet_id: MeetId, round_id: RoundId) -> AnyRow | None:
    """How a round is set, with its event's name; None for an id that is not of this meet."""
    return conn.execute(_ROUND_OUT, {"meet": meet_id, "round": round_id}).one_or_none()


def known_round(conn: Connection, meet_id: MeetId, round_id: RoundId) -> RoundKey:
    """Which round an id means; NotFound for an id that is not of this meet."""
    row = round_row(conn, meet_id, round_id)
    if row is None:
        raise NotFound("There is no such round at this meet.")
    return RoundKey(row.event_id, row.round_key)


def round_out(conn: Connection, meet_id: MeetId, round_id: RoundId) -> RoundOut:
    """How a round is set; NotFound for an id that is not of this meet."""
    row = round_row(conn, meet_id, round_id)
    if row is None:
        raise NotFound("There is no such round at this meet.")
    return _round_out(row)


def rounds_out(conn: Connection, meet_id: MeetId) -> RoundsOut:
    """All rounds of a meet that are set, by event, in the order of the programme."""
    meet_row(conn, meet_id)
    rows = conn.execute(_ROUNDS_OF_MEET, {"meet": meet_id})
    return RoundsOut(rounds=[_round_out(row) for row in rows])


class ScoringRound(NamedTuple):
    """A round whose places score, and whether it is drawn and every heat of it announced."""

    id: RoundId
    event_name: str
    round: str
    is_announced: bool


def scoring_rounds(conn: Connection, meet_id: MeetId) -> list[ScoringRound]:
    """The rounds of a meet whose places score."""
    rows = conn.execute(_SCORING, {"meet": meet_id})
    return [ScoringRound(row.id, row.event_name, row.round, not row.to_announce) for row in rows]


def rehearsal_of(conn: Connection, event_id: EventId) -> HeatId | None:
    """The rehearsal whose event this is, None for an event of the programme."""
    return conn.execute(_REHEARSAL_OF, {"event": event_id}).scalar()


def event_names(conn: Connection, meet_id: MeetId) -> Mapping[EventId, str]:
    """The meet's events by id."""
    rows = conn.execute(_EVENTS, {"meet": meet_id})
    return {row.id: row.name for row in rows}


class Drawn(NamedTuple):
    """A round as the start lists have it."""

    name: str
    heats: int


def drawn_rounds(
    conn: Connection, event_ids: Collection[EventId]
) -> Mapping[EventId, Mapping[str, Drawn]]:
    """By event the rounds that its start lists have, by key, in the order of the programme.

    A re-run is none: it is of the round that it repeats. Where heats of one round are written
    unlike, the first way counts.
    """
    found: dict[EventId, dict[str, Drawn]] = {one: {} for one in event_ids}
    for row in conn.execute(_DRAWN_ROUNDS, {"events": list(event_ids)}):
        of_event = found[row.event_id]
        known = of_event.get(row.round_key, Drawn(row.round, 0))
        of_event[row.round_key] = Drawn(known.name, known.heats + row.heats)
    return found


def rounds_expected(
    conn: Connection, event_ids: Collection[EventId]
) -> Mapping[EventId, Mapping[str, str]]:
    """By event the rounds that are set, and those to which they lead, by key: their names as they
    were set first.
    """
    found: dict[EventId, dict[str, str]] = {one: {} for one in event_ids}
    for row in conn.execute(_SET_OF_EVENTS, {"events": list(event_ids)}):
        of_event = found[row.event_id]
        of_event.setdefault(row.round_key, row.round)
        if row.next_key is not None:
            of_event.setdefault(row.next_key, row.next_round)
    return found


def rounds_of_re_runs(conn: Connection, event_id: EventId) -> Mapping[str, str]:
    """The rounds that the re-runs of an event are of, by the keys of the re-runs' own names."""
    rows = conn.execute(_ROUNDS_OF_RE_RUNS, {"event": event_id})
    return {row.round_key: row.round for row in rows}


def lots_out(conn: Connection, meet_id: MeetId, lots_id: LotsId, zone: str) -> LotsOut:
    """Lots as they were drawn; the caller knows that they were."""
    row = conn.execute(_LOTS_OUT, {"meet": meet_id, "lots": lots_id}).one()
    names = team_names(conn, row.drawn)
    return LotsOut(
        id=row.id,
        round=row.round_id,
        drawn=[TeamLine(team=team, name=names[team]) for team in row.drawn],
        places=row.places,
        drawn_by=row.drawn_by,
        drawn_at=row.drawn_at,
        drawn_at_local=in_zone(row.drawn_at, zone),
        entered_at=row.entered_at,
        entered_by=row.official_id,
    )


def team_names(conn: Connection, team_ids: Iterable[TeamId]) -> Mapping[TeamId, str]:
    """The names of teams by id."""
    rows = conn.execute(_TEAM_NAMES, {"teams": list(team_ids)})
    return {row.id: row.name for row in rows}


def _round_out(row: AnyRow) -> RoundOut:
    return RoundOut(
        id=row.id,
        event=row.event_id,
        event_name=row.event_name,
        round=row.round,
        next_round=row.next_round,
        by_place=row.by_place,
        by_time=row.by_time,
        lanes=row.lanes,
        points=row.points,
        heats=row.heats,
        next_heats=row.next_heats,
        version=row.version,
    )

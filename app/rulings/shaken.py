"""Which standing rulings are to be looked at again, since what they stood on has moved?

One whose heat was held back or started anew since, and one on a lane infringement before which more
or fewer are noted now than it counted: a note L was taken back, or came later for an earlier heat.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import (
    Connection,
    and_,
    bindparam,
    case,
    func,
    literal_column,
    or_,
    select,
    union_all,
)

from app.ids import HeatId, MeetId, RulingId, TeamId
from app.meets.states import HeatState
from app.meets.tables import events, heats, teams
from app.reports.tables import cases
from app.reports.wire import ToReconsider
from app.rules.finding import Consequence
from app.rulings.effect import effect_in_words
from app.rulings.tables import rulings
from app.store.prepared import Prepared

MOST_TO_RECONSIDER = 50

_noted, _its_heat = rulings.alias("noted"), heats.alias("its_heat")
_RULED_BEFORE = or_(
    _noted.c.ruled_at < rulings.c.ruled_at,
    and_(_noted.c.ruled_at == rulings.c.ruled_at, _noted.c.id < rulings.c.id),
)
# Which heat ran first: by their starts, else by the programme.
_RAN_BEFORE = case(
    (
        and_(_its_heat.c.started_at.is_not(None), heats.c.started_at.is_not(None)),
        _its_heat.c.started_at < heats.c.started_at,
    ),
    else_=_its_heat.c.position < heats.c.position,
)
_NOTED_NOW = (
    select(func.coalesce(func.sum(_noted.c.separate), 0))
    .join(_its_heat, _its_heat.c.id == _noted.c.heat_id)
    .where(
        _noted.c.team_id == rulings.c.team_id,
        _noted.c.effect == Consequence.NOTED.value,
        _noted.c.replaced_by.is_(None),
        case((_noted.c.heat_id == rulings.c.heat_id, _RULED_BEFORE), else_=_RAN_BEFORE),
    )
    .correlate(rulings, heats)
    .scalar_subquery()
)
"""The lane infringements that stand before a ruling now, counted as `noted_against` counts them."""

_STANDS = and_(rulings.c.effect != Consequence.NONE.value, rulings.c.replaced_by.is_(None))
_OF_ANOTHER_RACE = and_(
    rulings.c.run.is_not(None),
    or_(heats.c.state == HeatState.TO_COME.value, rulings.c.run != heats.c.run),
)
# Written out, not bound: only then do the engines know that the narrow indexes will do.
_OF_A_LANE = rulings.c.infringement == literal_column("'lane_infringement'")
_RUN_AGAIN = or_(
    heats.c.run > literal_column("1"),
    and_(heats.c.state == literal_column("'to come'"), heats.c.run > literal_column("0")),
)
_COUNTED_OTHERWISE = and_(_OF_A_LANE, rulings.c.noted_before != _NOTED_NOW)
_IS_SHAKEN = and_(_STANDS, or_(_OF_ANOTHER_RACE, _COUNTED_OTHERWISE))
_SHAKEN_OF_TEAM = (
    select(rulings.c.id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(rulings.c.team_id == bindparam("team"), _IS_SHAKEN)
    .order_by(rulings.c.ruled_at, rulings.c.id)
)
_HEATS_WITH_SHAKEN = (
    select(rulings.c.heat_id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(rulings.c.heat_id.in_(bindparam("heats", expanding=True)), _IS_SHAKEN)
    .distinct()
)
_SHAKEN = (
    select(
        rulings.c.id,
        rulings.c.case_id,
        cases.c.number.label("case_number"),
        rulings.c.heat_id,
        events.c.name.label("event_name"),
        heats.c.round,
        heats.c.number.label("heat_number"),
        rulings.c.lane,
        teams.c.name.label("team_name"),
        rulings.c.effect,
        rulings.c.rule,
        rulings.c.ruled_at,
        rulings.c.run,
        heats.c.run.label("heat_run"),
        heats.c.state.label("heat_state"),
        rulings.c.noted_before,
        _NOTED_NOW.label("noted_now"),
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .join(cases, cases.c.id == rulings.c.case_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == rulings.c.team_id)
)
_SHAKEN_IN_HEAT = _SHAKEN.where(rulings.c.heat_id == bindparam("heat"), _IS_SHAKEN).order_by(
    rulings.c.lane, rulings.c.ruled_at, rulings.c.id
)
# Over a whole meet, from what narrows first: the few heats that were started again or held back,
# and the few standing rulings on lane infringements. What else is told of a ruling is read
# afterwards: to plan the further tables took PostgreSQL 2 ms on each look at the docket.
_FOUND = (
    select(rulings.c.id, rulings.c.ruled_at)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(_STANDS)
)
_IN_MEET = union_all(
    _FOUND.where(heats.c.meet_id == bindparam("meet"), _RUN_AGAIN, _OF_ANOTHER_RACE),
    _FOUND.where(rulings.c.meet_id == bindparam("meet"), _COUNTED_OTHERWISE, ~_OF_ANOTHER_RACE),
).subquery()
_SHAKEN_IN_MEET = Prepared(
    select(_IN_MEET.c.id).order_by(_IN_MEET.c.ruled_at, _IN_MEET.c.id).limit(MOST_TO_RECONSIDER)
)
_TOLD = _SHAKEN.where(rulings.c.id.in_(bindparam("rulings", expanding=True))).order_by(
    rulings.c.ruled_at, rulings.c.id
)


def to_reconsider(conn: Connection, meet_id: MeetId) -> list[ToReconsider]:
    """The meet's standing rulings that are to be looked at again, oldest first, fifty at most."""
    found = [row.id for row in _SHAKEN_IN_MEET.all(conn, {"meet": meet_id})]
    rows = conn.execute(_TOLD, {"rulings": found}) if found else ()
    return [_to_reconsider(row) for row in rows]


def shaken_of_team(conn: Connection, team_id: TeamId | None) -> list[RulingId]:
    """The standing rulings on a team that are to be looked at again."""
    return list(conn.execute(_SHAKEN_OF_TEAM, {"team": team_id}).scalars())


def shaken_in_heat(conn: Connection, heat_id: HeatId) -> list[ToReconsider]:
    """The heat's standing rulings that are to be looked at again, in the order of lanes."""
    return [_to_reconsider(row) for row in conn.execute(_SHAKEN_IN_HEAT, {"heat": heat_id})]


def heats_with_shaken(conn: Connection, heat_ids: Iterable[HeatId]) -> frozenset[HeatId]:
    """Those of the heats in which a ruling is to be looked at again."""
    return frozenset(conn.execute(_HEATS_WITH_SHAKEN, {"heats": list(heat_ids)}).scalars())


def _to_reconsider(row: Any) -> ToReconsider:
    return ToReconsider(
        ruling=row.id,
        case=row.case_id,
        case_number=row.case_number,
        heat=row.heat_id,
        event_name=row.event_name,
        round=row.round,
        heat_number=row.heat_number,
        lane=row.lane,
        team_name=row.team_name,
        effect=effect_in_words(Consequence(row.effect), row.rule),
        why=_why(row),
    )


def _why(row: Any) -> str:
    if row.run is not None and row.heat_state == HeatState.TO_COME:
        return "Its heat was held back to run again."
    if row.run is not None and row.run != row.heat_run:
        return "Its heat was started anew since."
    if row.noted_now < row.noted_before:
        return "A lane infringement that it counted no longer stands."
    return "A lane infringement stands before it that it did not count."

"""Which standing rulings are to be looked at again, since what they stood on has moved?

One whose heat was held back or started anew since; one that was made on a flag alone, when nobody
reports that team any more; and one on a lane infringement before which more or fewer are noted now
than it counted, or that counts a note which is itself to be looked at again.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    ScalarSelect,
    and_,
    bindparam,
    case,
    exists,
    func,
    literal_column,
    or_,
    select,
)

from app.ids import HeatId, MeetId, RulingId, TeamId
from app.meets.queries import PRESENT_RUN, present_run_of
from app.meets.states import HeatState, present_run
from app.meets.tables import events, heats, teams
from app.reports.states import ReportState
from app.reports.tables import cases, reports
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
_NOTED_BEFORE = and_(
    _noted.c.team_id == rulings.c.team_id,
    _noted.c.effect == Consequence.NOTED.value,
    _noted.c.replaced_by.is_(None),
    case((_noted.c.heat_id == rulings.c.heat_id, _RULED_BEFORE), else_=_RAN_BEFORE),
)


def _noted_now(counted: ColumnElement[int], *which: ColumnElement[bool]) -> ScalarSelect[int]:
    return (
        select(func.coalesce(counted, 0))
        .join(_its_heat, _its_heat.c.id == _noted.c.heat_id)
        .where(_NOTED_BEFORE, *which)
        .correlate(rulings, heats)
        .scalar_subquery()
    )


_NOTED_NOW = _noted_now(func.sum(_noted.c.separate))
"""The lane infringements that stand before a ruling now, counted as `noted_against` counts them."""
_SHAKEN_NOTES = _noted_now(func.count(), _noted.c.run < present_run_of(_its_heat))
"""The notes among them that are of a race which was run again."""

_STANDS = and_(rulings.c.effect != Consequence.NONE.value, rulings.c.replaced_by.is_(None))
_OF_ANOTHER_RACE = rulings.c.run < PRESENT_RUN
# In its case or a further one, to which an account goes that comes after the ruling.
_IS_REPORTED = exists().where(
    cases.c.heat_id == rulings.c.heat_id,
    cases.c.team_id == rulings.c.team_id,
    reports.c.case_id == cases.c.id,
    reports.c.state != ReportState.WITHDRAWN.value,
)
# Written out, not bound: only then do the engines know that the narrow indexes will do.
_OF_A_LANE = rulings.c.infringement == literal_column("'lane_infringement'")
_RUN_AGAIN = or_(
    heats.c.run > literal_column("1"),
    and_(heats.c.state == literal_column("'to come'"), heats.c.run > literal_column("0")),
)
_ON_FLAGS_ALONE = rulings.c.accounts == literal_column("0")
_COUNTED_OTHERWISE = and_(
    _OF_A_LANE, or_(rulings.c.noted_before != _NOTED_NOW, literal_column("0") < _SHAKEN_NOTES)
)
_REPORTED_NO_MORE = and_(_ON_FLAGS_ALONE, ~_IS_REPORTED)
_IS_SHAKEN = and_(_STANDS, or_(_OF_ANOTHER_RACE, _REPORTED_NO_MORE, _COUNTED_OTHERWISE))
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
        rulings.c.accounts,
        _IS_REPORTED.label("is_reported"),
        _NOTED_NOW.label("noted_now"),
        _SHAKEN_NOTES.label("shaken_notes"),
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .join(cases, cases.c.id == rulings.c.case_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == rulings.c.team_id)
)
_SHAKEN_IN_HEAT = _SHAKEN.where(rulings.c.heat_id == bindparam("heat"), _IS_SHAKEN).order_by(
    rulings.c.lane, rulings.c.ruled_at, rulings.c.id
)
# Three statements over a whole meet, each from what narrows first: the few heats that were started
# again or held back, the few standing rulings on flags alone, and those on lane infringements.
_SHAKEN_BY_ANOTHER_RACE = Prepared(
    _SHAKEN.where(heats.c.meet_id == bindparam("meet"), _RUN_AGAIN, _STANDS, _OF_ANOTHER_RACE)
    .order_by(rulings.c.ruled_at, rulings.c.id)
    .limit(MOST_TO_RECONSIDER)
)
_IN_THIS_RACE = and_(rulings.c.meet_id == bindparam("meet"), _STANDS, ~_OF_ANOTHER_RACE)
_SHAKEN_BY_WITHDRAWAL = Prepared(
    _SHAKEN.where(_IN_THIS_RACE, _REPORTED_NO_MORE)
    .order_by(rulings.c.ruled_at, rulings.c.id)
    .limit(MOST_TO_RECONSIDER)
)
_SHAKEN_BY_THE_COUNT = Prepared(
    _SHAKEN.where(_IN_THIS_RACE, _COUNTED_OTHERWISE)
    .order_by(rulings.c.ruled_at, rulings.c.id)
    .limit(MOST_TO_RECONSIDER)
)


def to_reconsider(conn: Connection, meet_id: MeetId) -> list[ToReconsider]:
    """The meet's standing rulings that are to be looked at again, oldest first, fifty at most."""
    values = {"meet": meet_id}
    ways = (_SHAKEN_BY_ANOTHER_RACE, _SHAKEN_BY_WITHDRAWAL, _SHAKEN_BY_THE_COUNT)
    found = {row.id: row for way in ways for row in way.all(conn, values)}
    rows = sorted(found.values(), key=lambda row: (row.ruled_at, row.id))
    return [_to_reconsider(row) for row in rows[:MOST_TO_RECONSIDER]]


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
    state = HeatState(row.heat_state)
    if row.run < present_run(state, row.heat_run):
        what = "held back to run again" if state is HeatState.TO_COME else "started anew since"
        return f"Its heat was {what}."
    if not row.accounts and not row.is_reported:
        return "Nobody reports this team in this heat any more."
    if row.noted_now == row.noted_before:
        return "A lane infringement that it counts is of a race that was run again."
    if row.noted_now < row.noted_before:
        return "A lane infringement that it counted no longer stands."
    return "A lane infringement stands before it that it did not count."

"""Which standing rulings are to be looked at again, since what they stood on has moved?

One whose heat was held back or started anew since; one on flags alone, all of which were taken
back, went to another team or were dismissed; and one on a lane infringement before which more or
fewer are noted now than it counted, or which rests on a note that was taken back or is shaken.

All of it is one condition in SQL, made for `rulings` and again for the notes they rest on. A
disqualification that a decision put in force, without a ruling, is to be looked at again where its
heat runs anew with that team.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    FromClause,
    Text,
    and_,
    bindparam,
    case,
    exists,
    func,
    literal_column,
    or_,
    select,
    type_coerce,
    union,
)

from app.ids import HeatId, MeetId, RulingId, TeamId
from app.meets.queries import present_run_of
from app.meets.states import HeatState
from app.meets.tables import events, heats, lanes, teams
from app.reports.states import ReportState
from app.reports.tables import cases, reports
from app.reports.wire import ToReconsider
from app.rules.finding import Consequence
from app.rulings.effect import effect_in_words
from app.rulings.states import DisqualificationState
from app.rulings.tables import disqualifications, rulings
from app.store.prepared import Prepared
from app.store.rows import AnyRow

MOST_TO_RECONSIDER = 50


def _stands(one: FromClause) -> ColumnElement[bool]:
    return and_(one.c.effect != literal_column("'none'"), one.c.replaced_by.is_(None))


def _of_another_race(one: FromClause, its_heat: FromClause) -> ColumnElement[bool]:
    """Its heat was held back or started anew since."""
    return one.c.run < present_run_of(its_heat)


def _unreported(one: FromClause) -> ColumnElement[bool]:
    """No report of this team in this heat stands any more, or only such as were dismissed.

    An account that was ruled on stays; so this asks only about rulings on flags alone. An account
    that comes after the ruling goes to a further case.
    """
    case_of_team, report, other = cases.alias(), reports.alias(), rulings.alias()
    dismissed = exists().where(
        other.c.case_id == case_of_team.c.id,
        other.c.verdict == literal_column("'dismissed'"),
        other.c.replaced_by.is_(None),
    )
    reported = exists().where(
        case_of_team.c.heat_id == one.c.heat_id,
        case_of_team.c.team_id == one.c.team_id,
        report.c.case_id == case_of_team.c.id,
        report.c.state != ReportState.WITHDRAWN.value,
        ~dismissed,
    )
    return and_(_on_flags_alone(one), ~reported)


# Written out, not bound, here and below: only then do the engines know that a narrow index will do.
def _on_flags_alone(one: FromClause) -> ColumnElement[bool]:
    return one.c.accounts == literal_column("0")


def _of_a_lane(one: FromClause) -> ColumnElement[bool]:
    return one.c.infringement == literal_column("'lane_infringement'")


def _runs_again(heat: FromClause) -> ColumnElement[bool]:
    held_back = and_(heat.c.state == literal_column("'to come'"), heat.c.run > literal_column("0"))
    return or_(heat.c.run > literal_column("1"), held_back)


def _is_noted_before(
    note: FromClause, its_heat: FromClause, one: FromClause, heat: FromClause
) -> ColumnElement[bool]:
    """Whether a standing note against the same team comes first: in one heat by when it was ruled
    on, else by the starts of the heats, or by the programme. So `noted_against` counts, too.
    """
    ruled_first = or_(
        note.c.ruled_at < one.c.ruled_at,
        and_(note.c.ruled_at == one.c.ruled_at, note.c.id < one.c.id),
    )
    both_started = and_(its_heat.c.started_at.is_not(None), heat.c.started_at.is_not(None))
    ran_first = case(
        (both_started, its_heat.c.started_at < heat.c.started_at),
        else_=its_heat.c.position < heat.c.position,
    )
    return and_(
        note.c.team_id == one.c.team_id,
        note.c.effect == Consequence.NOTED.value,
        note.c.replaced_by.is_(None),
        note.c.run == present_run_of(its_heat),
        case((note.c.heat_id == one.c.heat_id, ruled_first), else_=ran_first),
    )


def _noted_now(one: FromClause, heat: FromClause) -> Any:
    """How many lane infringements stand before it now."""
    note, its_heat = rulings.alias(), heats.alias()
    return (
        select(func.coalesce(func.sum(note.c.separate), 0))
        .join(its_heat, its_heat.c.id == note.c.heat_id)
        .where(_is_noted_before(note, its_heat, one, heat))
        .correlate(one, heat)
        .scalar_subquery()
    )


def _counted_otherwise(one: FromClause, heat: FromClause) -> ColumnElement[bool]:
    return and_(_of_a_lane(one), one.c.noted_before != _noted_now(one, heat))


def _rests_on_moved(one: FromClause, heat: FromClause) -> ColumnElement[bool]:
    """A note that made it a disqualification was taken back, or is itself to be looked at again."""
    rests = one.c.rests_on != literal_column("'[]'")
    return and_(_of_a_lane(one), rests, or_(_has_shaken_note(one, heat), _named_what_is_gone(one)))


def _has_shaken_note(one: FromClause, heat: FromClause) -> ColumnElement[bool]:
    note, its_heat = rulings.alias(), heats.alias()
    moved = or_(_unreported(note), _counted_otherwise(note, its_heat))
    return (
        select(note.c.id)
        .join(its_heat, its_heat.c.id == note.c.heat_id)
        .where(_is_noted_before(note, its_heat, one, heat), moved)
        .correlate(one, heat)
        .exists()
    )


def _named_what_is_gone(one: FromClause) -> ColumnElement[bool]:
    """Another may count instead, but the form names this one. Made again on its case, it stands."""
    note, again = rulings.alias(), rulings.alias()
    made_again = exists().where(
        again.c.case_id == note.c.case_id,
        again.c.effect == Consequence.NOTED.value,
        again.c.replaced_by.is_(None),
    )
    named = type_coerce(one.c.rests_on, Text).contains(note.c.id)
    return exists().where(
        note.c.team_id == one.c.team_id, note.c.replaced_by.is_not(None), named, ~made_again
    )


_STANDS = _stands(rulings)
_OF_ANOTHER_RACE = _of_another_race(rulings, heats)
_COUNT_MOVED = or_(_counted_otherwise(rulings, heats), _rests_on_moved(rulings, heats))
_IS_SHAKEN = and_(_STANDS, or_(_OF_ANOTHER_RACE, _unreported(rulings), _COUNT_MOVED))
_SHAKEN_OF_TEAM = (
    select(rulings.c.id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(rulings.c.team_id == bindparam("team"), _IS_SHAKEN)
    .order_by(rulings.c.ruled_at, rulings.c.id)
)
# Both sides of a join are told which heats: PostgreSQL would else read all there are for one side.
_IN_HEATS = and_(
    rulings.c.heat_id.in_(bindparam("heats", expanding=True)),
    heats.c.id.in_(bindparam("heats", expanding=True)),
)
_HEATS_WITH_SHAKEN = (
    select(rulings.c.heat_id)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(_IN_HEATS, _IS_SHAKEN)
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
        heats.c.state.label("heat_state"),
        _OF_ANOTHER_RACE.label("is_of_another_race"),
        _unreported(rulings).label("is_unreported"),
        rulings.c.noted_before,
        _noted_now(rulings, heats).label("noted_now"),
    )
    .join(heats, heats.c.id == rulings.c.heat_id)
    .join(cases, cases.c.id == rulings.c.case_id)
    .join(events, events.c.id == heats.c.event_id)
    .outerjoin(teams, teams.c.id == rulings.c.team_id)
)
_SHAKEN_IN = _SHAKEN.where(_IN_HEATS, _IS_SHAKEN).order_by(
    rulings.c.lane, rulings.c.ruled_at, rulings.c.id
)
# Over a whole meet, from what narrows first: the few heats that were started again or held back,
# the few standing rulings on flags alone, and those on lane infringements. Whether there are any is
# asked before, and what else is told of a ruling is read afterwards: PostgreSQL needs 2 ms to plan
# this, and 2 ms more to plan the further tables, on each look at the docket.
_STAND_ALONE = exists().where(
    rulings.c.meet_id == bindparam("meet"), _STANDS, _on_flags_alone(rulings)
)
_ARE_COUNTED = exists().where(rulings.c.meet_id == bindparam("meet"), _STANDS, _of_a_lane(rulings))
# By the id, which the narrow index has: SQLite would else read all heats of the meet.
_RAN_AGAIN = (
    select(heats.c.id).where(heats.c.meet_id == bindparam("meet"), _runs_again(heats)).exists()
)
_MAY_BE_SHAKEN = Prepared(select(or_(_RAN_AGAIN, _STAND_ALONE, _ARE_COUNTED).label("any_are")))
_FOUND = (
    select(rulings.c.id, rulings.c.ruled_at)
    .join(heats, heats.c.id == rulings.c.heat_id)
    .where(_STANDS)
)
_OF_MEET = _FOUND.where(rulings.c.meet_id == bindparam("meet"))
_IN_MEET = union(
    _FOUND.where(heats.c.meet_id == bindparam("meet"), _runs_again(heats), _OF_ANOTHER_RACE),
    _OF_MEET.where(_unreported(rulings)),
    _OF_MEET.where(_of_a_lane(rulings), _COUNT_MOVED),
).subquery()
_SHAKEN_IN_MEET = Prepared(
    select(_IN_MEET.c.id).order_by(_IN_MEET.c.ruled_at, _IN_MEET.c.id).limit(MOST_TO_RECONSIDER)
)
_TOLD = _SHAKEN.where(rulings.c.id.in_(bindparam("rulings", expanding=True))).order_by(
    rulings.c.ruled_at, rulings.c.id
)

_OUTRUN = (
    select(
        disqualifications.c.id,
        disqualifications.c.heat_id,
        lanes.c.lane,
        teams.c.name.label("team_name"),
        disqualifications.c.rule,
        heats.c.state.label("heat_state"),
    )
    .join(heats, heats.c.id == disqualifications.c.heat_id)
    .join(
        lanes,
        and_(
            lanes.c.heat_id == disqualifications.c.heat_id,
            lanes.c.team_id == disqualifications.c.team_id,
        ),
    )
    .join(teams, teams.c.id == disqualifications.c.team_id)
    .where(
        disqualifications.c.heat_id.in_(bindparam("heats", expanding=True)),
        heats.c.id.in_(bindparam("heats", expanding=True)),
        disqualifications.c.state == DisqualificationState.IN_FORCE.value,
        disqualifications.c.run < present_run_of(heats),
    )
    .order_by(lanes.c.lane, disqualifications.c.id)
)


def disqualified_before(conn: Connection, heat_ids: Iterable[HeatId]) -> Sequence[AnyRow]:
    """The disqualifications by decision that were put in force before these heats were started
    anew or held back, in the order of lanes; not of teams that run there no more.
    """
    return conn.execute(_OUTRUN, {"heats": list(heat_ids)}).all()


def to_reconsider(conn: Connection, meet_id: MeetId) -> list[ToReconsider]:
    """The meet's standing rulings that are to be looked at again, oldest first, fifty at most."""
    values = {"meet": meet_id}
    if not _MAY_BE_SHAKEN.first(conn, values).any_are:
        return []
    found = [row.id for row in _SHAKEN_IN_MEET.all(conn, values)]
    rows = conn.execute(_TOLD, {"rulings": found}) if found else ()
    return [_to_reconsider(row) for row in rows]


def shaken_of_team(conn: Connection, team_id: TeamId | None) -> list[RulingId]:
    """The standing rulings on a team that are to be looked at again."""
    return list(conn.execute(_SHAKEN_OF_TEAM, {"team": team_id}).scalars())


def shaken_in(conn: Connection, heat_ids: Sequence[HeatId]) -> list[ToReconsider]:
    """The heats' standing rulings that are to be looked at again, in the order of lanes."""
    return [_to_reconsider(row) for row in conn.execute(_SHAKEN_IN, {"heats": heat_ids})]


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
    if row.is_of_another_race and row.heat_state == HeatState.TO_COME:
        return "Its heat was held back to run again."
    if row.is_of_another_race:
        return "Its heat was started anew since."
    if row.is_unreported:
        return "No report of this team in this heat stands any more."
    if row.noted_now < row.noted_before:
        return "A lane infringement that it counted no longer stands."
    if row.noted_now > row.noted_before:
        return "A lane infringement stands before it that it did not count."
    return "A note L that it rests on was taken back or is shaken itself."

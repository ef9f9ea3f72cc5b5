"""Which heats are of one round, so that what moves one can move the letters of all?

A heat and its re-runs move each other in any round: who is disqualified in a re-run is out of the
heat too, and what is decided on the heat can call the re-run off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Connection,
    FromClause,
    Select,
    and_,
    bindparam,
    func,
    literal_column,
    or_,
    select,
)

from app.ids import HeatId
from app.meets.states import HeatState
from app.meets.tables import heats
from app.rounds.tables import re_runs, rounds
from app.store.rows import AnyRow


def in_one_round(one: FromClause, other: FromClause) -> ColumnElement[bool]:
    """Whether two heats are of one round, in a statement. A re-run is of the round that it repeats,
    also where it was called off.
    """
    return and_(one.c.event_id == other.c.event_id, round_of(one) == round_of(other))


def round_of(heat: FromClause) -> ColumnElement[str]:
    """The key of a heat's round, in a statement; a re-run's is that of the round it repeats."""
    re_run = re_runs.alias()
    repeated = (
        select(re_run.c.round_key)
        .where(re_run.c.run_heat_id == heat.c.id)
        .correlate(heat)
        .scalar_subquery()
    )
    return func.coalesce(repeated, heat.c.round_key)


def _repeated_by(asked: BindParameter[Any]) -> Select[tuple[Any]]:
    """The heats of which some teams run again, by themselves or by the heats of the re-runs."""
    return select(re_runs.c.heat_id).where(
        or_(re_runs.c.heat_id.in_(asked), re_runs.c.run_heat_id.in_(asked))
    )


_LEADS_ON = (
    select(rounds.c.id)
    .select_from(rounds)
    .join(heats, and_(heats.c.event_id == rounds.c.event_id, round_of(heats) == rounds.c.round_key))
    .where(heats.c.id == bindparam("heat"), rounds.c.next_key.is_not(None))
)
_round_asked = heats.alias("round_asked")
_meant = rounds.alias("meant")
_HANG_TOGETHER = (
    select(
        rounds.c.id.label("round_id"),
        heats.c.id,
        heats.c.number,
        heats.c.round,
        heats.c.state,
        (heats.c.round_key != rounds.c.round_key).label("is_re_run"),
    )
    .select_from(rounds)
    .join(heats, and_(heats.c.event_id == rounds.c.event_id, round_of(heats) == rounds.c.round_key))
    .where(
        or_(rounds.c.next_key.is_not(None), rounds.c.points != literal_column("'[]'")),
        # Not by asking of each round whether it is meant: SQLite would look at all heats there are.
        rounds.c.id.in_(
            select(_meant.c.id)
            .select_from(_round_asked)
            .join(
                _meant,
                and_(
                    _meant.c.event_id == _round_asked.c.event_id,
                    _meant.c.round_key == round_of(_round_asked),
                ),
            )
            .where(_round_asked.c.id.in_(bindparam("heats", expanding=True)))
        ),
    )
    .order_by(rounds.c.id, heats.c.position)
)
_WITH_RE_RUNS = (
    select(
        re_runs.c.heat_id.label("round_id"),
        heats.c.id,
        heats.c.number,
        heats.c.round,
        heats.c.state,
        (heats.c.id == re_runs.c.run_heat_id).label("is_re_run"),
    )
    .select_from(re_runs)
    .join(heats, heats.c.id.in_((re_runs.c.heat_id, re_runs.c.run_heat_id)))
    .where(re_runs.c.heat_id.in_(_repeated_by(bindparam("heats", expanding=True))))
    .order_by(re_runs.c.heat_id, heats.c.position)
)
_TO_RUN_AGAIN = (
    select(re_runs.c.heat_id)
    .join(heats, heats.c.id == re_runs.c.run_heat_id)
    .where(
        re_runs.c.heat_id.in_(bindparam("heats", expanding=True)),
        re_runs.c.state == "in force",
        heats.c.state != HeatState.ANNOUNCED.value,
    )
    .distinct()
)


_others = heats.alias("others")
_OTHERS = (
    select(_others.c.id)
    .select_from(_others)
    .join(heats, in_one_round(_others, heats))
    .where(heats.c.id == bindparam("heat"), _others.c.id != bindparam("heat"))
    .order_by(_others.c.position)
)


def heats_to_run_again(conn: Connection, heat_ids: Iterable[HeatId]) -> frozenset[HeatId]:
    """Those of the heats of which some teams are to run again and have no result of that yet."""
    return frozenset(conn.execute(_TO_RUN_AGAIN, {"heats": list(heat_ids)}).scalars())


class InRound(NamedTuple):
    """A heat as the others of its round call it, and whether it is drawn there: neither a re-run
    nor a heat that is not held.
    """

    name: str
    is_drawn: bool


def hanging_together(
    conn: Connection, heat_ids: Iterable[HeatId]
) -> Mapping[str, Mapping[HeatId, InRound]]:
    """The rounds of these heats from which teams go on, or whose places score: all heats of each,
    with re-runs. What moves one of them can move the letters, or the points, of all. Of other
    rounds each heat that has re-runs, with these.
    """
    asked = list(heat_ids)
    found = _by_round(conn.execute(_HANG_TOGETHER, {"heats": asked}))
    left = [one for one in asked if not any(one in of_round for of_round in found.values())]
    return found | _by_round(conn.execute(_WITH_RE_RUNS, {"heats": left}))


def _by_round(rows: Iterable[AnyRow]) -> dict[str, dict[HeatId, InRound]]:
    found: dict[str, dict[HeatId, InRound]] = {}
    for row in rows:
        name = f"Heat {row.number} of {f'the {row.round}' if row.is_re_run else 'this round'}"
        is_drawn = not row.is_re_run and row.state != HeatState.NOT_HELD
        found.setdefault(row.round_id, {})[row.id] = InRound(name, is_drawn)
    return found


def leads_on(conn: Connection, heat_id: HeatId) -> bool:
    """Whether teams go on from this heat's round to a next one."""
    return conn.execute(_LEADS_ON, {"heat": heat_id}).first() is not None


def others_of_round(conn: Connection, heat_id: HeatId) -> list[HeatId]:
    """The other heats of a heat's round, its re-runs too, in the order of the programme."""
    return list(conn.execute(_OTHERS, {"heat": heat_id}).scalars())

"""What has the jury refused, of what was sought in a race or in its round?

An appeal that was upheld in part counts too: what it sought and the jury did not order is refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, or_, select

from app.appeals.tables import appeals, decisions
from app.ids import HeatId
from app.meets.queries import present_run_of
from app.meets.tables import heats
from app.results.one_round import in_one_round, round_of
from app.rounds.tables import re_runs
from app.rulings.found_done import JurysLine
from app.store.rows import AnyRow

_here = heats.alias("here")
_both_are_drawn = and_(heats.c.round_key == round_of(heats), _here.c.round_key == round_of(_here))
_again_there, _again_here = re_runs.alias("again_there"), re_runs.alias("again_here")
_repeated, _ordering = heats.alias("repeated"), decisions.alias("ordering")
_DECIDED_IN_ROUND = (
    select(
        appeals.c.number,
        appeals.c.sought,
        decisions.c.orders,
        decisions.c.statement,
        present_run_of(heats).label("present_run"),
        or_(heats.c.id == _here.c.id, _both_are_drawn).label("is_in_race"),
        _again_there.c.teams.label("ran_there"),
        _again_here.c.teams.label("ran_here"),
        _ordering.c.statement.label("ordering"),
        present_run_of(_repeated).label("repeated_run"),
    )
    .select_from(appeals)
    .join(decisions, decisions.c.appeal_id == appeals.c.id)
    .join(heats, heats.c.id == appeals.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .outerjoin(_again_there, _again_there.c.run_heat_id == heats.c.id)
    .outerjoin(_again_here, _again_here.c.run_heat_id == _here.c.id)
    .outerjoin(_repeated, _repeated.c.id == _again_there.c.heat_id)
    .outerjoin(
        _ordering,
        and_(
            _ordering.c.id == _again_there.c.by_decision,
            _ordering.c.heat_id == _again_there.c.heat_id,
        ),
    )
    .where(_here.c.id == bindparam("heat"), decisions.c.replaced_by.is_(None))
)
_ABOUT_ROUND = frozenset({"advance", "extra lane", "recall"})


class Refused(NamedTuple):
    """What an appeal asked for, as orders, and what the jury has ordered on it."""

    appeal: int
    sought: Sequence[Mapping[str, Any]]
    given: Sequence[Mapping[str, Any]]


def refused_by_jury(conn: Connection, heat_id: HeatId) -> list[Refused]:
    """What the jury has decided of what was sought in the race of a heat: also about the round's
    other heats, but that a re-run is a race of its own, and so is one that was run anew. Who goes
    on from the round is decided in a re-run too, but for the teams that ran in it.
    """
    return [
        Refused(row.number, [one for one in row.sought if _is_about_race(one, row)], row.orders)
        for row in conn.execute(_DECIDED_IN_ROUND, {"heat": heat_id})
        # Before the run was kept with the decision, nobody can say that it was another one.
        if row.statement.get("run") in {None, row.present_run}
        and row.statement.get("done_already") is None
    ]


def _is_about_race(order: Mapping[str, Any], row: AnyRow) -> bool:
    """Whether what was sought there is about the race here as well."""
    if row.is_in_race:
        return True
    ran_apart = {*(row.ran_there or ()), *(row.ran_here or ())}
    is_of_round = order["order"] in _ABOUT_ROUND and order["team"] not in ran_apart
    return is_of_round and not _repeats_void_race(row)


def _repeats_void_race(row: AnyRow) -> bool:
    """Whether an appeal names a re-run of a race that was itself run anew since."""
    ordering = row.ordering or {}
    return ordering.get("run") not in {None, row.repeated_run}


def not_corrected(conn: Connection, heat_id: HeatId) -> list[JurysLine]:
    """The lines of a heat's finish list that the jury was asked in vain to correct; not where it
    has ordered another correction of that line.
    """
    return [
        JurysLine(order["team"], order, one.appeal)
        for one in refused_by_jury(conn, heat_id)
        for order in one.sought
        if order["order"] == "correct" and order["team"] not in _corrected(one.given)
    ]


def _corrected(given: Iterable[Mapping[str, Any]]) -> set[str]:
    return {order["team"] for order in given if order["order"] == "correct"}

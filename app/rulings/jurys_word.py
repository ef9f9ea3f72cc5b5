"""What has the jury decided, or let stand, of rulings and of what was decided about them?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, func, literal_column, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import CaseId, HeatId, RulingId, TeamId
from app.rulings.refused import Refused, refused_by_jury
from app.rulings.states import DisqualificationState
from app.rulings.tables import disqualifications, rulings
from app.rulings.wire import Verdict

_JURY_ON = (
    select(decisions.c.id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(
        protests.c.ruling_id == bindparam("ruling"),
        decisions.c.appeal_id.is_not(None),
        decisions.c.replaced_by.is_(None),
    )
    .limit(1)
)
_BY_RULING = select(disqualifications.c.id, disqualifications.c.heat_id).where(
    disqualifications.c.by_ruling == bindparam("ruling")
)
_HEAT_OF = select(decisions.c.heat_id).where(decisions.c.id == bindparam("decision"))
_jurys = decisions.alias("jurys")
_ON_SAME_PROTEST = and_(
    _jurys.c.protest_id == decisions.c.protest_id,
    _jurys.c.appeal_id.is_not(None),
    _jurys.c.replaced_by.is_(None),
)
JURY_HAS_DECIDED = select(_jurys.c.id).where(_ON_SAME_PROTEST).correlate(decisions).exists()
"""Of a decision, in a statement: whether the jury has decided on its protest."""

_JURY_ON_PROTEST_OF = (
    select(_jurys.c.id)
    .join(decisions, _ON_SAME_PROTEST)
    .where(decisions.c.id == bindparam("decision"))
    .limit(1)
)
_SET_ASIDE_AFTER_JURY = (
    select(
        disqualifications.c.infringement,
        disqualifications.c.take_over,
        func.coalesce(disqualifications.c.run, rulings.c.run).label("run"),
        appeals.c.number,
        (decisions.c.appeal_id == appeals.c.id).label("by_jury"),
    )
    .select_from(disqualifications)
    .join(decisions, decisions.c.id == disqualifications.c.set_aside_by)
    .join(_jurys, _ON_SAME_PROTEST)
    .join(appeals, appeals.c.id == _jurys.c.appeal_id)
    .outerjoin(rulings, rulings.c.id == disqualifications.c.by_ruling)
    .where(
        disqualifications.c.heat_id == bindparam("heat"),
        disqualifications.c.team_id == bindparam("team"),
        disqualifications.c.state == DisqualificationState.SET_ASIDE.value,
    )
    .order_by(appeals.c.number)
)
_SET_ASIDE = (
    select(
        disqualifications.c.id,
        disqualifications.c.infringement,
        disqualifications.c.take_over,
        func.coalesce(disqualifications.c.run, rulings.c.run).label("run"),
    )
    .outerjoin(rulings, rulings.c.id == disqualifications.c.by_ruling)
    .where(
        disqualifications.c.heat_id == bindparam("heat"),
        disqualifications.c.team_id == bindparam("team"),
        disqualifications.c.state == DisqualificationState.SET_ASIDE.value,
    )
)
_DISMISSALS_JURY_LET_STAND = (
    select(rulings.c.case_id, rulings.c.run, appeals.c.number)
    .join(protests, protests.c.ruling_id == rulings.c.id)
    .join(decisions, decisions.c.protest_id == protests.c.id)
    .join(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(
        rulings.c.heat_id == bindparam("heat"),
        rulings.c.team_id == bindparam("team"),
        rulings.c.verdict == Verdict.DISMISSED.value,
        rulings.c.replaced_by.is_(None),
        decisions.c.replaced_by.is_(None),
        decisions.c.carried_out == literal_column("'[]'"),
    )
    .order_by(appeals.c.number)
)


def jury_has_the_word(conn: Connection, decision_id: str) -> bool:
    """Whether the jury has decided on the protest of this decision, its own or the referee's: what
    it did is then ordered or let stand by the jury. So it is where the jury was asked in vain to
    undo it. A ruling's id is none.
    """
    if conn.execute(_JURY_ON_PROTEST_OF, {"decision": decision_id}).first() is not None:
        return True
    heat = conn.execute(_HEAT_OF, {"decision": decision_id}).scalar()
    undo = {"order": "undo", "decision": decision_id}
    return heat is not None and any(_refused(one, undo) for one in refused_by_jury(conn, heat))


def jury_stands_on(conn: Connection, ruling_id: RulingId) -> bool:
    """Whether the jury has decided about this ruling, if only that it stands: on a protest about
    it, or on one about something else with which its disqualification was to be set aside.
    """
    if conn.execute(_JURY_ON, {"ruling": ruling_id}).first() is not None:
        return True
    return any(
        _refused(one, {"order": "set aside", "disqualification": row.id})
        for row in conn.execute(_BY_RULING, {"ruling": ruling_id}).all()
        for one in refused_by_jury(conn, row.heat_id)
    )


def _refused(one: Refused, order: Mapping[str, Any]) -> bool:
    return order in one.sought and order not in one.given


class SetAsideForGood(NamedTuple):
    """A disqualification that is set aside by the jury's word, with the run it was for and the
    appeal. `by_jury` is false where the referee did it and the jury let it stand.
    """

    infringement: str
    take_over: int | None
    run: int
    appeal: int
    by_jury: bool | None


class DismissalLetStand(NamedTuple):
    """A case whose dismissal the jury has let stand, with its run and the appeal."""

    case: CaseId
    run: int
    appeal: int


def set_aside_for_good(conn: Connection, heat_id: HeatId, team_id: TeamId) -> list[SetAsideForGood]:
    """The disqualifications of a team in a heat that the jury has set aside, or has let be set
    aside by the referee: on that protest, or where it was asked in vain to restore one.
    """
    asked = {"heat": heat_id, "team": team_id}
    found = [SetAsideForGood(*row) for row in conn.execute(_SET_ASIDE_AFTER_JURY, asked)]
    for one in refused_by_jury(conn, heat_id):
        found += (
            SetAsideForGood(row.infringement, row.take_over, row.run, one.appeal, by_jury=False)
            for row in conn.execute(_SET_ASIDE, asked)
            if _refused(one, {"order": "restore", "disqualification": row.id})
        )
    return found


class NotDisqualified(NamedTuple):
    """For what the jury was asked in vain to disqualify a team, and on which appeal."""

    infringement: str
    take_over: int | None
    appeal: int


def not_disqualified(conn: Connection, heat_id: HeatId, team_id: TeamId) -> list[NotDisqualified]:
    """The same, of a team in the race of a heat."""
    return [
        NotDisqualified(order["infringement"], order["take_over"], one.appeal)
        for one in refused_by_jury(conn, heat_id)
        for order in one.sought
        if order["order"] == "disqualify" and order["team"] == team_id and _refused(one, order)
    ]


def dismissals_jury_let_stand(
    conn: Connection, heat_id: HeatId, team_id: TeamId
) -> list[DismissalLetStand]:
    """The rulings that dismissed a case of a team in a heat and that the jury left as they are."""
    rows = conn.execute(_DISMISSALS_JURY_LET_STAND, {"heat": heat_id, "team": team_id})
    return [DismissalLetStand(*row) for row in rows]

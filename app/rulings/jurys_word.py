"""What has the jury decided, or let stand, of rulings and of what was decided about them?"""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, and_, bindparam, func, literal_column, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import CaseId, HeatId, RulingId, TeamId
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
_SOUGHT_IN_VAIN = (
    select(disqualifications.c.id, appeals.c.sought)
    .join(appeals, appeals.c.heat_id == disqualifications.c.heat_id)
    .join(decisions, decisions.c.appeal_id == appeals.c.id)
    .where(
        disqualifications.c.by_ruling == bindparam("ruling"),
        decisions.c.verdict == "rejected",
        decisions.c.replaced_by.is_(None),
    )
)
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
    it did is then ordered or let stand by the jury. A ruling's id is none.
    """
    return conn.execute(_JURY_ON_PROTEST_OF, {"decision": decision_id}).first() is not None


def jury_stands_on(conn: Connection, ruling_id: RulingId) -> bool:
    """Whether the jury has decided about this ruling, if only that it stands: on a protest about
    it, or on one about something else with which its disqualification was to be set aside.
    """
    if conn.execute(_JURY_ON, {"ruling": ruling_id}).first() is not None:
        return True
    return any(
        one["order"] == "set aside" and one["disqualification"] == row.id
        for row in conn.execute(_SOUGHT_IN_VAIN, {"ruling": ruling_id})
        for one in row.sought
    )


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
    aside by the referee.
    """
    rows = conn.execute(_SET_ASIDE_AFTER_JURY, {"heat": heat_id, "team": team_id})
    return [SetAsideForGood(*row) for row in rows]


def dismissals_jury_let_stand(
    conn: Connection, heat_id: HeatId, team_id: TeamId
) -> list[DismissalLetStand]:
    """The rulings that dismissed a case of a team in a heat and that the jury left as they are."""
    rows = conn.execute(_DISMISSALS_JURY_LET_STAND, {"heat": heat_id, "team": team_id})
    return [DismissalLetStand(*row) for row in rows]

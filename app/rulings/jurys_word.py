"""What has the jury decided, or let stand, of rulings and of what was decided about them?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, func, literal_column, or_, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import CaseId, HeatId, RulingId, TeamId
from app.rulings.found_done import FoundDone, found_done
from app.rulings.refused import Refused, refused_by_jury
from app.rulings.states import DisqualificationState
from app.rulings.tables import disqualifications, rulings
from app.rulings.wire import Verdict
from app.store.rows import AnyRow

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
_BY_RULING = select(disqualifications).where(disqualifications.c.by_ruling == bindparam("ruling"))
_HEAT_OF = select(decisions.c.heat_id).where(decisions.c.id == bindparam("decision"))
_jurys = decisions.alias("jurys")
_ON_SAME_PROTEST = and_(
    _jurys.c.protest_id == decisions.c.protest_id,
    _jurys.c.instance == "jury",
    _jurys.c.replaced_by.is_(None),
)
JURY_HAS_SETTLED = or_(
    decisions.c.settled_by.is_not(None),
    select(_jurys.c.id).where(_ON_SAME_PROTEST).correlate(decisions).exists(),
)
"""Of a decision, in a statement: whether the jury has decided on its protest, or has undone it, or
had the last word about all that it did, on another one. Nobody can appeal against it then.
"""

_giving = decisions.alias("giving")
STANDS_SINCE = func.coalesce(
    select(_giving.c.decided_at)
    .where(_giving.c.meet_id == decisions.c.meet_id, _giving.c.seq == decisions.c.given_back)
    .correlate(decisions)
    .scalar_subquery(),
    decisions.c.decided_at,
)
"""Of a decision, in a statement: since when it stands, which is when it was made, or when what had
undone it was taken back.
"""

_JURY_ON_PROTEST_OF = (
    select(_jurys.c.id)
    .join(decisions, _ON_SAME_PROTEST)
    .where(decisions.c.id == bindparam("decision"))
    .limit(1)
)
_SET_ASIDE_AFTER_JURY = (
    select(
        disqualifications.c.id,
        disqualifications.c.infringement,
        disqualifications.c.take_over,
        func.coalesce(disqualifications.c.run, rulings.c.run).label("run"),
        appeals.c.number,
        decisions.c.appeal_id.label("ordered_on"),
        _jurys.c.appeal_id.label("decided_on"),
        _jurys.c.carried_out.label("carried_out"),
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
        disqualifications.c.by_decision,
        decisions.c.seq,
    )
    .outerjoin(rulings, rulings.c.id == disqualifications.c.by_ruling)
    .outerjoin(decisions, decisions.c.id == disqualifications.c.set_aside_by)
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


def appeal_resting_on(conn: Connection, ruling_id: RulingId) -> int | None:
    """The appeal on which the jury found done already what this ruling's disqualification does, or
    that it was set aside; None where there is none.
    """
    return next(
        (
            found.appeal
            for row in conn.execute(_BY_RULING, {"ruling": ruling_id}).all()
            for found in found_done(conn, HeatId(row.heat_id))
            if any(_is_about(row, order) for order in found.wanted)
        ),
        None,
    )


def _is_about(row: AnyRow, order: Mapping[str, Any]) -> bool:
    """Whether what was wanted is that this disqualification counts, or that it does not."""
    if order["order"] == "disqualify":
        return (order["team"], order["infringement"]) == (row.team_id, row.infringement) and order[
            "take_over"
        ] in {None, row.take_over}
    return order["order"] in {"set aside", "restore"} and order["disqualification"] == row.id


class SetAsideForGood(NamedTuple):
    """A disqualification that is set aside by the jury's word, with the run it was for, the appeal,
    and what the jury `did` about it in words.
    """

    infringement: str
    take_over: int | None
    run: int
    appeal: int
    did: str


_BY_JURY = "has set this disqualification aside"
_BY_REFEREE = "has let stand that the referee has set this disqualification aside"
_LET_STAY = "has let this disqualification stay set aside"


class DismissalLetStand(NamedTuple):
    """A case whose dismissal the jury has let stand, with its run and the appeal."""

    case: CaseId
    run: int
    appeal: int


def set_aside_for_good(conn: Connection, heat_id: HeatId, team_id: TeamId) -> list[SetAsideForGood]:
    """The disqualifications of a team in a heat that the jury has set aside, or has let be set
    aside: on that protest, where it was asked in vain to restore one, or where it found that done
    already. First come those whose appeal it still stands by.
    """
    asked = {"heat": heat_id, "team": team_id}
    of_protest = conn.execute(_SET_ASIDE_AFTER_JURY, asked).all()
    there = conn.execute(_SET_ASIDE, asked).all()
    found = [_for_good(row, row.number, _did(row)) for row in of_protest if _stands_by_it(row)]
    for done in found_done(conn, heat_id):
        rests = (row for row in there if _rests_on(done, row, team_id))
        found += (_for_good(row, done.appeal, _LET_STAY) for row in rests)
    for one in refused_by_jury(conn, heat_id):
        for row in there:
            if _refused(one, {"order": "restore", "disqualification": row.id}):
                found.append(_for_good(row, one.appeal, _BY_REFEREE))
    found += [_for_good(row, row.number, _did(row)) for row in of_protest if not _stands_by_it(row)]
    return found


def _for_good(row: AnyRow, appeal: int, did: str) -> SetAsideForGood:
    return SetAsideForGood(row.infringement, row.take_over, row.run, appeal, did)


def _did(row: AnyRow) -> str:
    if row.ordered_on is None:
        return _BY_REFEREE
    return _BY_JURY if row.ordered_on == row.decided_on else _LET_STAY


def _stands_by_it(row: AnyRow) -> bool:
    """Whether the jury's decision that stands on an appeal has set this aside, or let it be; where
    it was heard again, it may have left it for another appeal alone.
    """
    return row.ordered_on != row.decided_on or any(
        kept["did"] == "set aside" and kept["disqualification"] == row.id
        for kept in row.carried_out
    )


def _rests_on(done: FoundDone, row: AnyRow, team_id: TeamId) -> bool:
    """Whether what the jury found done already is that this disqualification is set aside."""
    if not done.wanted:
        return team_id in done.parties and row.seq is not None and row.seq < done.seq
    return any(
        order in done.wanted
        for order in (
            {"order": "set aside", "disqualification": row.id},
            {"order": "undo", "decision": row.by_decision},
        )
    )


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

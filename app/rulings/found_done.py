"""What did the jury find done already, on appeals in a heat's round, and so let stand?

Such a decision ordered nothing itself. What was wanted is what the appeal sought; where it did not
say that, that what it was against is undone; else nobody can say more than whom it was about, and
which decisions since the one that it was against have moved them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, bindparam, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import HeatId
from app.meets.tables import heats
from app.results.one_round import in_one_round
from app.rulings.tables import disqualifications
from app.store.rows import AnyRow

Wanted = Mapping[str, Any]

_here = heats.alias("here")
_referees = decisions.alias("referees")
_JURYS_IN_ROUND = (
    select(
        decisions.c.id,
        decisions.c.seq,
        decisions.c.heat_id,
        decisions.c.statement,
        appeals.c.number,
        appeals.c.sought,
        appeals.c.team_id,
        protests.c.team_id.label("protested_by"),
        protests.c.against_id,
        protests.c.ruling_id,
        _referees.c.id.label("against"),
        _referees.c.carried_out.label("against_did"),
        _referees.c.seq.label("against_seq"),
    )
    .join(appeals, appeals.c.id == decisions.c.appeal_id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .outerjoin(
        _referees,
        and_(
            _referees.c.protest_id == protests.c.id,
            _referees.c.appeal_id.is_(None),
            _referees.c.replaced_by.is_(None),
        ),
    )
    .where(_here.c.id == bindparam("heat"), decisions.c.replaced_by.is_(None))
    .order_by(decisions.c.seq)
)
_OF_RULING = select(disqualifications.c.id).where(
    disqualifications.c.by_ruling == bindparam("ruling")
)
_CARRIED_OUT = select(decisions.c.carried_out).where(decisions.c.id == bindparam("decision"))
_ORDERED_BETWEEN = (
    select(decisions.c.id, decisions.c.moves)
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .where(
        _here.c.id == bindparam("heat"),
        decisions.c.seq > bindparam("after"),
        decisions.c.seq < bindparam("before"),
    )
)


class FoundDone(NamedTuple):
    """A decision of the jury that ordered nothing, since it was done already, with the number of
    its appeal and the run that it was about; what was `wanted`, as orders, and its `parties`. Where
    nobody said what was wanted, `moved_by` names the decisions that moved them meanwhile.
    """

    id: str
    seq: int
    appeal: int
    heat: HeatId
    run: int | None
    wanted: Sequence[Wanted]
    parties: frozenset[str]
    moved_by: frozenset[str]


def found_done(conn: Connection, heat_id: HeatId) -> list[FoundDone]:
    """The decisions of the jury in a heat's round that stand so, in the order of deciding."""
    return [
        _found(conn, row)
        for row in conn.execute(_JURYS_IN_ROUND, {"heat": heat_id}).all()
        if row.statement.get("done_already") is not None
    ]


class JurysLine(NamedTuple):
    """A team's line of a finish list about which the jury has decided, as an order to correct it,
    and on which appeal.
    """

    team: str
    order: Wanted
    appeal: int


def found_corrected(conn: Connection, heat_id: HeatId, run: int) -> list[JurysLine]:
    """The lines of a heat's race that the jury found to say already what was wanted."""
    return [
        JurysLine(order["team"], order, one.appeal)
        for one in found_done(conn, heat_id)
        # Before the run was kept with the decision, nobody can say that it was another one.
        if one.heat == heat_id and one.run in {None, run}
        for order in one.wanted
        if order["order"] == "correct"
    ]


def found_put_back(conn: Connection, heat_id: HeatId, run: int) -> list[JurysLine]:
    """What decisions had corrected in the lines of a heat's race that the jury found undone."""
    return [
        JurysLine(kept["becomes"]["team"], _correction(kept["becomes"]), one.appeal)
        for one in found_done(conn, heat_id)
        for order in one.wanted
        if order["order"] == "undo"
        for kept in conn.execute(_CARRIED_OUT, {"decision": order["decision"]}).scalar() or ()
        if kept["did"] == "corrected" and kept["run"] == run and one.heat == heat_id
    ]


def _correction(line: Mapping[str, Any]) -> Wanted:
    return {"status": line["status"], "time": _time(line), "place": line["place"]}


def _time(line: Mapping[str, Any]) -> str | None:
    """A time as it is sought in an order, with the decimals that it has."""
    if line["thousandths"] is None:
        return None
    seconds, fraction = divmod(line["thousandths"], 1000)
    return f"{seconds}.{f'{fraction:03d}'[: line['decimals']]}"


def _found(conn: Connection, row: AnyRow) -> FoundDone:
    wanted = _wanted(conn, row)
    parties = frozenset(filter(None, (row.team_id, row.protested_by, row.against_id)))
    return FoundDone(
        row.id,
        row.seq,
        row.number,
        HeatId(row.heat_id),
        row.statement.get("run"),
        wanted,
        parties,
        frozenset() if wanted else _moved_by(conn, row, parties),
    )


def _wanted(conn: Connection, row: AnyRow) -> list[Wanted]:
    if row.sought:
        return list(row.sought)
    if row.against_did:
        return [{"order": "undo", "decision": row.against}]
    known = conn.execute(_OF_RULING, {"ruling": row.ruling_id}) if row.ruling_id else ()
    return [{"order": "set aside", "disqualification": one.id} for one in known]


def _moved_by(conn: Connection, row: AnyRow, parties: frozenset[str]) -> frozenset[str]:
    """The decisions between the one that was appealed against and the jury's that moved a party."""
    asked = {"heat": row.heat_id, "after": row.against_seq or 0, "before": row.seq}
    return frozenset(
        one.id
        for one in conn.execute(_ORDERED_BETWEEN, asked)
        if parties.intersection(move["team"] for move in one.moves["moves"])
    )

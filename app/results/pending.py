"""What is lodged about a heat and its round, what of it is still undecided, and what decisions have
made of the heat's list?

What an announcement tells of decisions is `told.py`'s business, what windows ask of them
`appealable.py`'s; who takes protests and appeals in and decides them is their own capability's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import (
    BindParameter,
    Connection,
    bindparam,
    func,
    literal_column,
    select,
)

from app.appeals.states import OPEN, ProtestState
from app.appeals.tables import appeals, decisions, protests
from app.ids import HeatId, MeetId
from app.meets.tables import heats
from app.results.one_round import in_one_round
from app.results.tables import windows
from app.rulings.jurys_word import JURY_HAS_SETTLED
from app.store.rows import AnyRow

REFEREE, JURY = "referee", "jury"

_asked = heats.alias("asked")
_PROTESTS_IN_ROUND, _APPEALS_IN_ROUND = (
    select(table)
    .join(heats, heats.c.id == table.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"), table.c.state != ProtestState.WITHDRAWN.value)
    .order_by(table.c.number)
    for table in (protests, appeals)
)
_PROTESTS_IN_MEET, _APPEALS_IN_MEET = (
    select(table)
    .where(table.c.meet_id == bindparam("meet"), table.c.state != ProtestState.WITHDRAWN.value)
    .order_by(table.c.number)
    for table in (protests, appeals)
)
_LAST_CARRIED_OUT = select(func.max(decisions.c.decided_at)).where(
    decisions.c.heat_id == bindparam("heat"),
    decisions.c.carried_out != literal_column("'[]'"),
)
_LAST_CARRIED_OUT_UNTIL = _LAST_CARRIED_OUT.where(decisions.c.seq <= bindparam("until"))
_ADVISED_BEFORE = (
    select(decisions.c.id, decisions.c.advised_at, protests.c.number, protests.c.team_id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(
        decisions.c.heat_id == bindparam("heat"),
        decisions.c.instance == REFEREE,
        decisions.c.verdict.in_((ProtestState.UPHELD.value, ProtestState.REJECTED.value)),
        decisions.c.carried_out == literal_column("'[]'"),
        decisions.c.advised_at.is_not(None),
        decisions.c.replaced_by.is_(None),
        ~JURY_HAS_SETTLED,
        ~select(windows.c.id).where(windows.c.decision_id == decisions.c.id).exists(),
    )
    .order_by(decisions.c.seq)
)
_HEATS: BindParameter[Any] = bindparam("heats", expanding=True)
_PROTESTS = (
    select(
        protests.c.heat_id,
        protests.c.number,
        protests.c.state,
        protests.c.withdrawn,
        select(appeals.c.id)
        .where(appeals.c.protest_id == protests.c.id)
        .correlate(protests)
        .exists()
        .label("has_appeal"),
    )
    .where(protests.c.heat_id.in_(_HEATS))
    .order_by(protests.c.number)
)
_APPEALS = (
    select(
        appeals.c.heat_id,
        appeals.c.number,
        appeals.c.state,
        appeals.c.withdrawn,
        appeals.c.is_referred,
        protests.c.number.label("protest_number"),
    )
    .join(protests, protests.c.id == appeals.c.protest_id)
    .where(appeals.c.heat_id.in_(_HEATS))
    .order_by(appeals.c.number)
)
_DECISIONS = (
    select(
        decisions.c.id,
        decisions.c.heat_id,
        decisions.c.instance,
        decisions.c.verdict,
        decisions.c.carried_out,
        decisions.c.seq,
        decisions.c.decided_at,
        decisions.c.advised_at,
        decisions.c.replaced_by,
        protests.c.number,
        JURY_HAS_SETTLED.label("is_settled"),
    )
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(decisions.c.heat_id.in_(_HEATS))
    .order_by(protests.c.number, decisions.c.seq)
)


_CARRIED_OUT = (
    select(decisions.c.carried_out)
    .where(decisions.c.heat_id == bindparam("heat"))
    .order_by(decisions.c.seq)
)


def protests_in_round(conn: Connection, heat_id: HeatId) -> Sequence[AnyRow]:
    """The protests about the heats of a heat's round, in order; not those taken back."""
    return conn.execute(_PROTESTS_IN_ROUND, {"heat": heat_id}).all()


def appeals_in_round(conn: Connection, heat_id: HeatId) -> Sequence[AnyRow]:
    """The appeals on them, in order; not those taken back."""
    return conn.execute(_APPEALS_IN_ROUND, {"heat": heat_id}).all()


def protests_in_meet(conn: Connection, meet_id: MeetId) -> Sequence[AnyRow]:
    """All protests of a meet, in order; not those taken back."""
    return conn.execute(_PROTESTS_IN_MEET, {"meet": meet_id}).all()


def appeals_in_meet(conn: Connection, meet_id: MeetId) -> Sequence[AnyRow]:
    """All appeals of a meet, in order; not those taken back."""
    return conn.execute(_APPEALS_IN_MEET, {"meet": meet_id}).all()


def advised_before(conn: Connection, heat_id: HeatId) -> Sequence[AnyRow]:
    """The referee's decisions on a heat that changed nothing and were told before anything was
    announced, so that no window was opened; not where the jury has decided since.
    """
    return conn.execute(_ADVISED_BEFORE, {"heat": heat_id}).all()


def last_carried_out(
    conn: Connection, heat_id: HeatId, until: int | None = None
) -> datetime | None:
    """When a decision changed this heat's result last, None before the first; `until` leaves out
    what came after the decision of that number.
    """
    statement = _LAST_CARRIED_OUT if until is None else _LAST_CARRIED_OUT_UNTIL
    values = {"heat": heat_id} if until is None else {"heat": heat_id, "until": until}
    found: datetime | None = conn.execute(statement, values).scalar_one()
    return found


def advised_at(conn: Connection, heat_id: HeatId) -> Mapping[str, datetime]:
    """When those who protested were told of the decisions on a heat, by decision."""
    rows = conn.execute(_DECISIONS, {"heats": [heat_id]})
    return {row.id: row.advised_at for row in rows if row.advised_at is not None}


@dataclass(slots=True)
class Remedies:
    """The protests and appeals of a heat: what is still awaited, in words for everybody, and the
    instants at which the others were settled.
    """

    awaited: list[str] = field(default_factory=list)
    settled_at: list[datetime] = field(default_factory=list)


def remedies_in(conn: Connection, heat_ids: Sequence[HeatId]) -> Mapping[HeatId, Remedies]:
    """The protests and appeals of heats, in three statements; heats without any are left out."""
    found: dict[HeatId, Remedies] = {}
    asked = {"heats": list(heat_ids)}
    for statement, awaited_by, settled in (
        (_PROTESTS, _protest_awaits, _withdrawn),
        (_APPEALS, _appeal_awaits, _withdrawn),
        (_DECISIONS, _decision_awaits, _decided),
    ):
        for row in conn.execute(statement, asked):
            here = found.setdefault(row.heat_id, Remedies())
            here.awaited.extend(awaited_by(row))
            here.settled_at.extend(settled(row))
    return found


def _protest_awaits(row: AnyRow) -> Iterator[str]:
    if row.state == ProtestState.LODGED:
        yield f"Protest {row.number} awaits the referee."
    # Else the appeal that came of it says so.
    elif row.state == ProtestState.REFERRED and not row.has_appeal:
        yield f"Protest {row.number} awaits the jury."


def _appeal_awaits(row: AnyRow) -> Iterator[str]:
    if row.state in OPEN:
        referred = f" (protest {row.protest_number}, referred by the referee)"
        yield f"Appeal {row.number}{referred if row.is_referred else ''} awaits the jury."


def _decision_awaits(row: AnyRow) -> Iterator[str]:
    """What changes nothing is told to those who protested, and their window counts from that; not
    once the jury has decided on an appeal that did not wait for it.
    """
    is_decided = row.verdict in {ProtestState.UPHELD, ProtestState.REJECTED}
    changes_nothing = is_decided and not row.carried_out
    is_to_be_told = row.instance == REFEREE and row.advised_at is None and not row.is_settled
    if changes_nothing and is_to_be_told and row.replaced_by is None:
        yield f"The decision on protest {row.number} is to be told to those who protested."


def _withdrawn(row: AnyRow) -> Iterable[datetime]:
    said: Mapping[str, Any] | None = row.withdrawn
    return [datetime.fromisoformat(said["at"])] if said else []


def _decided(row: AnyRow) -> Iterable[datetime]:
    return [at for at in (row.decided_at, row.advised_at) if at is not None]


def decided_lines(conn: Connection, heat_id: HeatId, run: int) -> Mapping[str, Mapping[str, Any]]:
    """The lines of a run's finish list that decisions have corrected and that still stand so, by
    team. Where the last correction was taken back, the one before it stands again; nothing is
    decided any more where that gave back the line that the list itself had.
    """
    lists: dict[str, Mapping[str, Any]] = {}
    now: dict[str, Mapping[str, Any]] = {}
    for carried_out in conn.execute(_CARRIED_OUT, {"heat": heat_id}).scalars():
        for kept in carried_out:
            if kept["did"] != "corrected" or kept["run"] not in {run, None}:
                continue
            team = kept["becomes"]["team"]
            if kept["run"] == run:
                lists.setdefault(team, kept["was"])
            if team in lists:
                now[team] = kept["becomes"]
    return {team: line for team, line in now.items() if line != lists[team]}

"""Reading decisions: the referee's on protests, and the jury's on appeals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, bindparam, func, literal_column, select

from app.access.names import WHO, name_then
from app.access.tables import officials
from app.appeals.tables import appeals, decisions, protests
from app.appeals.wire import (
    DecisionOut,
    Instance,
    JurysDecisionOut,
    Verdict,
)
from app.clock import in_zone
from app.ids import (
    AppealId,
    DecisionId,
    HeatId,
    MeetId,
    OfficialId,
    ProtestId,
    RulingId,
)
from app.meets.queries import MeetFacts
from app.meets.tables import heats
from app.refusals import NotFound
from app.results.one_round import in_one_round
from app.results.tables import announcements, tellings
from app.rounds.wire import ConsequencesOut
from app.rulings.jurys_word import STANDS_SINCE
from app.store.rows import AnyRow

_here = heats.alias("here")


_DECISION_COLUMNS = (
    select(decisions, *WHO, STANDS_SINCE.label("stands_since"))
    .join(officials, officials.c.id == decisions.c.official_id)
    .where(decisions.c.meet_id == bindparam("meet"))
)


_DECISION = _DECISION_COLUMNS.where(decisions.c.id == bindparam("decision"))


_REFEREES = _DECISION_COLUMNS.where(
    decisions.c.protest_id == bindparam("protest"), decisions.c.instance == Instance.REFEREE.value
).order_by(decisions.c.seq)


_REFEREES_OF = (
    select(decisions.c.id, decisions.c.protest_id)
    .where(
        decisions.c.meet_id == bindparam("meet"),
        decisions.c.instance == Instance.REFEREE.value,
        decisions.c.protest_id.in_(bindparam("protests", expanding=True)),
    )
    .order_by(decisions.c.seq)
)


_OF_PROTEST = _REFEREES.where(decisions.c.replaced_by.is_(None))


_OF_APPEAL = _DECISION_COLUMNS.where(decisions.c.appeal_id == bindparam("appeal")).order_by(
    decisions.c.sitting
)


_OF_APPEALS = _DECISION_COLUMNS.where(
    decisions.c.appeal_id.in_(bindparam("appeals", expanding=True))
).order_by(decisions.c.sitting)
_STANDING_REFEREES = _DECISION_COLUMNS.where(
    decisions.c.protest_id.in_(bindparam("protests", expanding=True)),
    decisions.c.instance == Instance.REFEREE.value,
    decisions.c.replaced_by.is_(None),
)
_ALL_OF_PROTEST = _DECISION_COLUMNS.where(decisions.c.protest_id == bindparam("protest")).order_by(
    decisions.c.seq
)


_IN_ROUND_OF = (
    select(
        decisions.c.id,
        decisions.c.seq,
        decisions.c.heat_id,
        decisions.c.protest_id,
        decisions.c.instance,
        decisions.c.orders,
        decisions.c.carried_out,
        decisions.c.replaced_by,
        decisions.c.settled_by,
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
        appeals.c.state.label("appeal_state"),
    )
    .join(protests, protests.c.id == decisions.c.protest_id)
    .outerjoin(appeals, appeals.c.id == decisions.c.appeal_id)
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_here, in_one_round(heats, _here))
    .where(_here.c.id == bindparam("heat"))
    .order_by(decisions.c.seq)
)


_DECIDED_ABOUT = (
    select(decisions.c.official_id)
    .join(protests, protests.c.id == decisions.c.protest_id)
    .where(
        decisions.c.meet_id == bindparam("meet"),
        decisions.c.instance == Instance.REFEREE.value,
        protests.c.ruling_id.in_(bindparam("rulings", expanding=True)),
    )
)


_IS_TOLD = (
    select(tellings.c.decision_id)
    .join(announcements, announcements.c.id == tellings.c.announcement_id)
    .where(tellings.c.decision_id == decisions.c.id, announcements.c.heat_id == decisions.c.heat_id)
    .correlate(decisions)
    .exists()
)


_UNTOLD = select(decisions.c.id).where(
    decisions.c.heat_id.in_(bindparam("heats", expanding=True)),
    decisions.c.carried_out != literal_column("'[]'"),
    decisions.c.is_news == 1,
    ~_IS_TOLD,
)


_TOLD_ANYWHERE = select(tellings.c.decision_id).where(
    tellings.c.decision_id.in_(bindparam("decisions", expanding=True))
)


_JURYS_ON = (
    _DECISION_COLUMNS.add_columns(appeals.c.number.label("appeal_number"))
    .join(appeals, appeals.c.id == decisions.c.appeal_id)
    .where(
        decisions.c.protest_id.in_(bindparam("protests", expanding=True)),
        decisions.c.replaced_by.is_(None),
    )
    .order_by(appeals.c.number)
)


_LAST_DECISION = select(func.max(decisions.c.seq)).where(decisions.c.meet_id == bindparam("meet"))


def decision_row(conn: Connection, meet_id: MeetId, decision_id: DecisionId) -> AnyRow:
    """A decision's row; NotFound for an id that is not of this meet."""
    row = conn.execute(_DECISION, {"meet": meet_id, "decision": decision_id}).one_or_none()
    if row is None:
        raise NotFound("There is no such decision at this meet.")
    return row


def decided_about(
    conn: Connection, meet_id: MeetId, rulings: Iterable[RulingId]
) -> set[OfficialId]:
    """Who has decided a protest about one of these rulings, as a referee."""
    asked = {"meet": meet_id, "rulings": sorted(rulings)}
    return set(conn.execute(_DECIDED_ABOUT, asked).scalars())


def is_the_jurys(conn: Connection, meet_id: MeetId, ident: str) -> bool:
    """Whether this is a decision of the jury; a ruling's id is none."""
    row = conn.execute(_DECISION, {"meet": meet_id, "decision": ident}).one_or_none()
    return row is not None and row.instance == Instance.JURY.value


def next_decision(conn: Connection, meet_id: MeetId) -> int:
    """Decisions are counted through the meet, in the order in which they were made."""
    return (conn.execute(_LAST_DECISION, {"meet": meet_id}).scalar() or 0) + 1


def referees_decision(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> AnyRow | None:
    """The referee's decision on a protest as it stands, None before it."""
    return conn.execute(_OF_PROTEST, {"meet": meet_id, "protest": protest_id}).one_or_none()


def standing_of_referee(
    conn: Connection, meet_id: MeetId, protest_ids: Iterable[ProtestId]
) -> Mapping[ProtestId, AnyRow]:
    """By protest the referee's decision as it stands; those undecided are left out."""
    asked = {"meet": meet_id, "protests": list(protest_ids)}
    return {row.protest_id: row for row in conn.execute(_STANDING_REFEREES, asked)}


def decisions_in_round(conn: Connection, heat_id: HeatId) -> list[AnyRow]:
    """What was carried out in the round of a heat, by decision, in the order of deciding."""
    return list(conn.execute(_IN_ROUND_OF, {"heat": heat_id}))


def untold_orders(conn: Connection, heat_ids: Iterable[HeatId]) -> frozenset[DecisionId]:
    """The decisions about these heats, also replaced ones, that ordered something new which no
    announcement of the heat has told.
    """
    return frozenset(conn.execute(_UNTOLD, {"heats": list(heat_ids)}).scalars())


def told_anywhere(conn: Connection, decision_ids: Iterable[DecisionId]) -> frozenset[DecisionId]:
    """Those of the decisions that an announcement of any heat has told."""
    return frozenset(conn.execute(_TOLD_ANYWHERE, {"decisions": list(decision_ids)}).scalars())


def referees_decisions(conn: Connection, meet_id: MeetId, protest_id: ProtestId) -> list[AnyRow]:
    """All that the referee decided on a protest, first to last: more than one where the first was
    replaced.
    """
    return list(conn.execute(_REFEREES, {"meet": meet_id, "protest": protest_id}))


def decisions_of_appeal(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> list[AnyRow]:
    """The jury's decisions on an appeal, one a sitting; the last one stands."""
    return list(conn.execute(_OF_APPEAL, {"meet": meet_id, "appeal": appeal_id}))


def decisions_of_appeals(
    conn: Connection, meet_id: MeetId, appeal_ids: Iterable[AppealId]
) -> Mapping[AppealId, list[AnyRow]]:
    """The same of several appeals; those undecided are left out."""
    found: dict[AppealId, list[AnyRow]] = {}
    for row in conn.execute(_OF_APPEALS, {"meet": meet_id, "appeals": list(appeal_ids)}):
        found.setdefault(row.appeal_id, []).append(row)
    return found


def standing_decision(conn: Connection, meet_id: MeetId, appeal_id: AppealId) -> AnyRow | None:
    """The jury's decision on an appeal that no later sitting has replaced, None before any."""
    found = decisions_of_appeal(conn, meet_id, appeal_id)
    return found[-1] if found else None


def decisions_on(conn: Connection, meet: MeetFacts, protest_id: ProtestId) -> list[DecisionOut]:
    """All decisions on a protest and its appeals, in order."""
    rows = conn.execute(_ALL_OF_PROTEST, {"meet": meet.id, "protest": protest_id})
    return [decision_out(conn, row, meet.time_zone) for row in rows]


def subjects_of_protest(conn: Connection, meet: MeetFacts, protest_id: ProtestId) -> list[str]:
    """What a correction about a protest names: itself, or a decision whose advice it was."""
    return [protest_id, *referees_decisions_of(conn, meet, [protest_id]).get(protest_id, ())]


def referees_decisions_of(
    conn: Connection, meet: MeetFacts, protest_ids: Iterable[str]
) -> Mapping[str, list[str]]:
    """By protest what the referee decided on it, first to last; those undecided are left out."""
    found: dict[str, list[str]] = {}
    for row in conn.execute(_REFEREES_OF, {"meet": meet.id, "protests": list(protest_ids)}):
        found.setdefault(row.protest_id, []).append(row.id)
    return found


def jurys_decisions_on(
    conn: Connection, meet: MeetFacts, protest_ids: Iterable[str]
) -> Mapping[str, list[AnyRow]]:
    """By protest what the jury has decided on its appeals and stands; none for the others."""
    found: dict[str, list[AnyRow]] = {}
    for row in conn.execute(_JURYS_ON, {"meet": meet.id, "protests": list(protest_ids)}):
        found.setdefault(row.protest_id, []).append(row)
    return found


def jurys_decision_out(meet: MeetFacts, row: AnyRow, appeal_number: int) -> JurysDecisionOut:
    """A decision of the jury in short."""
    return JurysDecisionOut(
        id=row.id,
        appeal=row.appeal_id,
        appeal_number=appeal_number,
        sitting=row.sitting,
        verdict=Verdict(row.verdict),
        decided_at=row.decided_at,
        decided_at_local=in_zone(row.decided_at, meet.time_zone),
        form_path=f"/api/meets/{meet.id}/decisions/{row.id}/form.pdf",
    )


def decision_out(conn: Connection, row: AnyRow, zone: str) -> DecisionOut:
    """A decision as it goes over HTTP."""
    return DecisionOut(
        id=row.id,
        protest=row.protest_id,
        appeal=row.appeal_id,
        heat=row.heat_id,
        instance=Instance(row.instance),
        sitting=row.sitting,
        verdict=Verdict(row.verdict),
        reasons=row.reasons,
        heard_because=row.heard_because,
        done_already=row.content.get("done_already"),
        orders=row.orders,
        ordered=[one["words"] for one in row.carried_out],
        consequences=ConsequencesOut.model_validate(row.moves),
        official=row.official_id,
        official_name=name_then(conn, row, row.decided_at),
        decided_at=row.decided_at,
        decided_at_local=in_zone(row.decided_at, zone),
        advised_at=row.advised_at,
        statement_digest=row.statement_digest,
        replaced_by=row.replaced_by,
    )

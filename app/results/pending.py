"""What has been decided in a round since an announcement, and what is still undecided in a heat?

Protests, appeals and decisions are read here and nowhere else in the results; who takes them in and
decides them is their own capability's business.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Connection,
    and_,
    bindparam,
    func,
    literal_column,
    or_,
    select,
)

from app.appeals.states import OPEN, ProtestState
from app.appeals.tables import appeals, decisions, protests
from app.ids import DecisionId, HeatId, MeetId
from app.meets.tables import heats, teams
from app.results.one_round import in_one_round, round_of
from app.results.tables import announcements, tellings, windows
from app.results.wording import at_time
from app.rules.windows import Remedy
from app.rulings.jurys_word import JURY_HAS_DECIDED
from app.store.rows import AnyRow

REFEREE, JURY = "referee", "jury"

_OF_LINES = frozenset({"set aside", "restored", "corrected"})
"""What orders do to the lines of the heat that they are about, and not to its round."""

_asked = heats.alias("asked")
# What an announcement told of the referee's, and nobody has decided on since.
_CAN_BE_APPEALED = and_(
    decisions.c.instance == REFEREE,
    decisions.c.carried_out != literal_column("'[]'"),
    decisions.c.replaced_by.is_(None),
    ~JURY_HAS_DECIDED,
)
_STILL_TO_APPEAL = (
    select(decisions.c.id)
    .join(tellings, tellings.c.decision_id == decisions.c.id)
    .where(tellings.c.announcement_id == windows.c.announcement_id, _CAN_BE_APPEALED)
    .correlate(windows)
    .exists()
)
REPLACED_BY = (
    select(decisions.c.replaced_by)
    .where(decisions.c.id == windows.c.decision_id)
    .correlate(windows)
    .scalar_subquery()
)
"""Of a window, in a statement: by which other one the decision was replaced that it is about."""
IS_SETTLED = and_(
    windows.c.remedy == Remedy.APPEAL.value,
    or_(
        select(decisions.c.id)
        .where(decisions.c.id == windows.c.decision_id, JURY_HAS_DECIDED)
        .correlate(windows)
        .exists(),
        and_(windows.c.decision_id.is_(None), ~_STILL_TO_APPEAL),
    ),
)
"""Of a window, in a statement: whether the jury has decided on all that it let be appealed."""
OPENED_ELSEWHERE = (
    select(windows, decisions.c.heat_id.label("decided_on"))
    .distinct()
    .join(tellings, tellings.c.announcement_id == windows.c.announcement_id)
    .join(decisions, decisions.c.id == tellings.c.decision_id)
    .where(
        decisions.c.heat_id.in_(bindparam("heats", expanding=True)),
        windows.c.heat_id != decisions.c.heat_id,
        windows.c.remedy == Remedy.APPEAL.value,
        windows.c.decision_id.is_(None),
        _CAN_BE_APPEALED,
    )
    .order_by(windows.c.opened_at, windows.c.id)
)
"""The times for appeals against decisions on these heats that opened in other heats of the round,
where those decisions were told too.
"""

# A re-run counts in the heat that it repeats by what is stored, whichever is announced first.
_COUNTS_AS_ANNOUNCED = heats.c.round_key == round_of(heats)


def _told_in(heat_id: ColumnElement[str]) -> ColumnElement[int | None]:
    """Whether a decision was told in a heat, in a statement: 1 if whole, None if not at all."""
    return (
        select(func.max(tellings.c.is_whole))
        .join(announcements, announcements.c.id == tellings.c.announcement_id)
        .where(tellings.c.decision_id == decisions.c.id, announcements.c.heat_id == heat_id)
        .correlate(decisions, _asked)
        .scalar_subquery()
    )


_TELLING = (
    decisions.c.id,
    decisions.c.seq,
    decisions.c.heat_id,
    decisions.c.carried_out,
    (decisions.c.heat_id == _asked.c.id).label("is_here"),
    _COUNTS_AS_ANNOUNCED.label("counts_as_announced"),
    _told_in(_asked.c.id).label("told_here"),
    _told_in(decisions.c.heat_id).label("told_there"),
)
_DECIDED = (
    select(
        *_TELLING,
        decisions.c.protest_id,
        decisions.c.instance,
        decisions.c.orders,
        decisions.c.replaced_by,
    )
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"))
    .order_by(decisions.c.seq)
)
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
        ~JURY_HAS_DECIDED,
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
    select(appeals.c.heat_id, appeals.c.number, appeals.c.state, appeals.c.withdrawn)
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
        JURY_HAS_DECIDED.label("is_settled"),
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
_TOLD = (
    select(
        *_TELLING,
        decisions.c.instance,
        decisions.c.verdict,
        decisions.c.decided_at,
        decisions.c.sitting,
        decisions.c.moves,
        heats.c.number.label("heat_number"),
        heats.c.round,
        _asked.c.round.label("asked_round"),
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
        teams.c.id.label("team_id"),
        teams.c.name.label("team_name"),
    )
    .select_from(decisions)
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .join(protests, protests.c.id == decisions.c.protest_id)
    .outerjoin(appeals, appeals.c.id == decisions.c.appeal_id)
    .join(teams, teams.c.id == func.coalesce(appeals.c.team_id, protests.c.team_id))
    .where(_asked.c.id == bindparam("heat"))
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


def told_since(
    conn: Connection, heat_id: HeatId, after: int, teams: Collection[str], at: datetime, zone: str
) -> list[str]:
    """Why a result is amended: the decisions of its round that its announcement is the first of
    the heat to tell and that ordered something, a sentence each with what they ordered. `at`: when
    it is announced, as of another day the day is told. Only what was decided `after` a number.

    Of another heat only what moved or names one of the `teams`, those of this heat and who goes on
    otherwise than was told: its own announcement tells the rest.
    """
    return [
        _decision_in_words(row, heat_id, at_time(row.decided_at, at, zone))
        for row in conn.execute(_TOLD, {"heat": heat_id})
        if _is_to_be_told(row) and _is_news(row, after, teams)
    ]


def _is_news(row: AnyRow, after: int, teams: Collection[str]) -> bool:
    is_ours = row.is_here or _touches_any(row, teams)
    return bool(row.carried_out) and row.seq > after and is_ours


def _is_to_be_told(row: AnyRow) -> bool:
    """Whether an announcement of the heat asked for would tell a decision that none before it has
    told, or not the whole of it.
    """
    if _shows_whole(row):
        return not row.told_here
    at_once = any(one["did"] not in _OF_LINES for one in row.carried_out)
    return at_once and row.told_here is None


def _shows_whole(row: AnyRow) -> bool:
    """Whether all that a decision did shows in the heat asked for: its letters go by the lines of
    another heat as they were announced there.
    """
    is_of_lines = any(one["did"] in _OF_LINES for one in row.carried_out)
    elsewhere = not row.is_here and row.counts_as_announced
    return not (elsewhere and is_of_lines) or row.told_there is not None


def _touches_any(row: AnyRow, teams: Collection[str]) -> bool:
    """Whether a decision was asked for by one of these teams, or moves one, or its orders name one
    that nothing has moved yet: who is to run again.
    """
    shown: Mapping[str, Any] = row.moves
    concerned = (*shown.get("moves", ()), *shown.get("named", ()))
    return row.team_id in teams or any(one["team"] in teams for one in concerned)


def _decision_in_words(row: AnyRow, heat_id: HeatId, when: str) -> str:
    what = "Protest" if row.appeal_number is None else "Appeal"
    number = row.protest_number if row.appeal_number is None else row.appeal_number
    round_ = "" if row.round == row.asked_round else f"{row.round}, "
    asides = [] if row.heat_id == heat_id else [f"{round_}heat {row.heat_number}"]
    if row.sitting > 1:  # who heard the first decision would hear the same appeal decided twice
        asides.append("reopened on new evidence")
    where = f", {', '.join(asides)}," if asides else ""
    ordered = " ".join(one["words"] for one in row.carried_out)
    return (
        f"{what} {number} of {row.team_name}{where} was {row.verdict} by the {row.instance} "
        f"{when}. {ordered}"
    )


@dataclass(frozen=True, slots=True)
class Decided:
    """What was decided in a round: the number of its last decision, which decisions the heat's next
    announcement tells, and which instances' of those changed what there is to announce.

    A decision of the referee that changes nothing is told to those who protested, and opens their
    window then. The jury's in this heat count in any case: what it let stand is final as well.
    """

    last: int
    telling: Mapping[DecisionId, bool]
    """Those to be told, and whether the whole of each shows in this heat by now."""
    by_referee: bool
    can_be_appealed: bool
    """One of the referee's that the jury has neither decided on since nor undone."""
    can_be_appealed_here: bool
    by_jury_here: bool
    by_jury_elsewhere: bool
    is_here: bool
    """Something was ordered in this heat itself: that is news, whatever its lines say."""


def decided_since(conn: Connection, heat_id: HeatId) -> Decided:
    """What was decided in this heat's round and no announcement of the heat has told. What changes
    lines of another heat moves nothing here until it is announced there: so it is told after that.
    """
    rows = conn.execute(_DECIDED, {"heat": heat_id}).all()
    telling = [row for row in rows if _is_to_be_told(row)]
    standing = [row for row in telling if row.replaced_by is None]
    referees = [row for row in standing if row.instance == REFEREE and row.carried_out]
    jurys = [row for row in standing if row.instance == JURY]
    open_ones = [row for row in referees if not _is_settled(row, rows)]
    return Decided(
        rows[-1].seq if rows else 0,
        {DecisionId(row.id): _shows_whole(row) for row in telling},
        by_referee=bool(referees),
        can_be_appealed=bool(open_ones),
        can_be_appealed_here=any(row.is_here for row in open_ones),
        by_jury_here=any(row.is_here for row in jurys),
        by_jury_elsewhere=any(row.carried_out and not row.is_here for row in jurys),
        is_here=any(row.is_here and row.carried_out for row in standing),
    )


def _is_settled(referees: AnyRow, rows: Iterable[AnyRow]) -> bool:
    """Whether the jury has decided on this protest, or has undone what was decided on it."""
    undone = {"order": "undo", "decision": referees.id}
    return any(
        one.protest_id == referees.protest_id or undone in one.orders
        for one in rows
        if one.instance == JURY and one.replaced_by is None
    )


def corrected_by_decisions(conn: Connection, heat_id: HeatId) -> Mapping[HeatId, list[int]]:
    """By heat of this heat's round the numbers of the decisions that changed a line of its finish
    list, one a line.
    """
    found: dict[HeatId, list[int]] = {}
    for row in conn.execute(_DECIDED, {"heat": heat_id}):
        # What a decision after reopening kept was carried out before it.
        lines = [
            row.seq
            for one in row.carried_out
            if one.get("did") == "corrected" and not one.get("is_kept")
        ]
        found.setdefault(row.heat_id, []).extend(lines)
    return found


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
        yield f"Appeal {row.number} awaits the jury."


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

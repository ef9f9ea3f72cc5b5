"""Which decisions does an announcement tell, and what is news by them?

Each is told once in every heat of its round. What changes lines of another heat moves nothing here
until it is announced there, so it is told after that; what else the same decision did is told at
once.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, bindparam, func, select

from app.appeals.tables import appeals, decisions, protests
from app.ids import DecisionId, HeatId
from app.meets.tables import heats, teams
from app.results.appealable import IS_TOLD_SINCE
from app.results.one_round import in_one_round, round_of
from app.results.pending import JURY, REFEREE
from app.results.tables import announcements, tellings
from app.results.wording import at_time
from app.rulings.jurys_word import JURY_HAS_SETTLED
from app.store.rows import AnyRow

_asked = heats.alias("asked")

_OF_LINES = frozenset({"set aside", "restored", "corrected"})
"""What orders do to the lines of the heat that they are about, and not to its round."""
_OF_FINISHES = frozenset({"corrected"})
"""The same of a re-run: who is disqualified in it is out of the heat that it repeats by what is
stored, whichever is announced first; its times count as they were announced."""


def _told_in(heat_id: ColumnElement[str]) -> ColumnElement[int | None]:
    """Whether a decision was told in a heat since it stands, in a statement: 1 if whole, None if
    not at all.
    """
    return (
        select(func.max(tellings.c.is_whole))
        .join(announcements, announcements.c.id == tellings.c.announcement_id)
        .where(
            tellings.c.decision_id == decisions.c.id,
            announcements.c.heat_id == heat_id,
            IS_TOLD_SINCE,
        )
        .correlate(decisions, _asked)
        .scalar_subquery()
    )


_TELLING = (
    decisions.c.id,
    decisions.c.seq,
    decisions.c.heat_id,
    decisions.c.carried_out,
    (decisions.c.heat_id == _asked.c.id).label("is_here"),
    (heats.c.round_key == round_of(heats)).label("is_drawn"),
    _told_in(_asked.c.id).label("told_here"),
    _told_in(decisions.c.heat_id).label("told_there"),
)
_DECIDED = (
    select(
        *_TELLING,
        decisions.c.instance,
        decisions.c.replaced_by,
        decisions.c.is_news,
        decisions.c.moves,
        (_asked.c.round_key == round_of(_asked)).label("here_is_drawn"),
        JURY_HAS_SETTLED.label("is_settled"),
    )
    .join(heats, heats.c.id == decisions.c.heat_id)
    .join(_asked, in_one_round(heats, _asked))
    .where(_asked.c.id == bindparam("heat"))
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
        decisions.c.given_back,
        heats.c.number.label("heat_number"),
        heats.c.round,
        _asked.c.round.label("asked_round"),
        protests.c.number.label("protest_number"),
        appeals.c.number.label("appeal_number"),
        appeals.c.is_referred,
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
    at_once = any(one["did"] not in _awaited(row) for one in row.carried_out)
    return at_once and row.told_here is None


def _shows_whole(row: AnyRow) -> bool:
    """Whether all that a decision did shows in the heat asked for: its letters go by the lines of
    another heat as they were announced there. What it only kept had been told.
    """
    moves_lines = any(
        one["did"] in _awaited(row) and not one.get("is_kept") for one in row.carried_out
    )
    return row.is_here or not moves_lines or row.told_there is not None


def _awaited(row: AnyRow) -> Collection[str]:
    """What of a decision on another heat moves nobody before it is announced there."""
    return _OF_LINES if row.is_drawn else _OF_FINISHES


def _touches_any(row: AnyRow, teams: Collection[str]) -> bool:
    """Whether a decision was asked for by one of these teams, or moves or names one."""
    return row.team_id in teams or _names_any(row, teams)


def _is_of_heat(row: AnyRow, teams: Collection[str]) -> bool:
    """Whether a decision is about the heat asked for, or moved a team of it; not of a re-run, whose
    teams had what ordered it told in the heat that it repeats.
    """
    return row.is_here or (row.here_is_drawn and _names_any(row, teams))


def _names_any(row: AnyRow, teams: Collection[str]) -> bool:
    """Whether a decision moves one of these teams, or its orders name one that nothing has moved
    yet: who is to run again.
    """
    shown: Mapping[str, Any] = row.moves
    concerned = (*shown.get("moves", ()), *shown.get("named", ()))
    return any(one["team"] in teams for one in concerned)


def _decision_in_words(row: AnyRow, heat_id: HeatId, when: str) -> str:
    is_protest = row.appeal_number is None or row.is_referred
    what = "Protest" if is_protest else "Appeal"
    number = row.protest_number if is_protest else row.appeal_number
    round_ = "" if row.round == row.asked_round else f"{row.round}, "
    asides = [] if row.heat_id == heat_id else [f"{round_}heat {row.heat_number}"]
    if row.is_referred:
        asides.append("referred by the referee")
    if row.sitting > 1:  # who heard the first decision would hear the same appeal decided twice
        asides.append("reopened on new evidence")
    if row.given_back is not None:
        asides.append("which stands again")
    where = f", {', '.join(asides)}," if asides else ""
    return (
        f"{what} {number} of {row.team_name}{where} was {row.verdict} by the {row.instance} "
        f"{when}. {' '.join(_ordered(row.carried_out))}"
    )


def _ordered(carried_out: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """What was ordered, in words; what is kept of a decision before did not begin to count now."""
    new = [one["words"] for one in carried_out if not one.get("is_kept")]
    yield from new
    if any(one.get("is_kept") for one in carried_out):
        yield f"{'The rest' if new else 'All'} stays as it was decided before."


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
    """The same, of one about this heat, or that has moved or named a team of it."""
    by_jury_here: bool
    by_jury_elsewhere: bool
    is_here: bool
    """Something was ordered in this heat itself: that is news, whatever its lines say; not where
    nothing was ordered but what had been ordered and told before.
    """
    corrected: Mapping[HeatId, list[int]]
    """By heat of the round the numbers of the decisions that changed a line of its finish list: one
    for each line.
    """


def decided_since(conn: Connection, heat_id: HeatId, teams: Collection[str]) -> Decided:
    """What was decided in this heat's round and no announcement of the heat has told; `teams` are
    those of the heat. What changes lines of another heat moves nothing here until it is announced
    there: so it is told after that.
    """
    rows = conn.execute(_DECIDED, {"heat": heat_id}).all()
    telling = [row for row in rows if _is_to_be_told(row)]
    standing = [row for row in telling if row.replaced_by is None]
    referees = [row for row in standing if row.instance == REFEREE and row.carried_out]
    jurys = [row for row in standing if row.instance == JURY]
    open_ones = [row for row in referees if not row.is_settled]
    return Decided(
        rows[-1].seq if rows else 0,
        {DecisionId(row.id): _shows_whole(row) for row in telling},
        by_referee=bool(referees),
        can_be_appealed=bool(open_ones),
        can_be_appealed_here=any(_is_of_heat(row, teams) for row in open_ones),
        by_jury_here=any(row.is_here for row in jurys),
        by_jury_elsewhere=any(row.carried_out and not row.is_here for row in jurys),
        is_here=any(row.is_here and row.carried_out and row.is_news for row in standing),
        corrected=_corrected(rows),
    )


def _corrected(rows: Iterable[AnyRow]) -> Mapping[HeatId, list[int]]:
    found: dict[HeatId, list[int]] = {}
    for row in rows:
        # What a decision after reopening kept was carried out before it.
        lines = [
            row.seq
            for one in row.carried_out
            if one.get("did") == "corrected" and not one.get("is_kept")
        ]
        found.setdefault(row.heat_id, []).extend(lines)
    return found

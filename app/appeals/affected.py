"""Whom has a decision moved, and until when can each of them protest or appeal?

Read, never stored: a window follows the time of its announcement. A team's window is that of the
announcement of its own heat that tells the decision first (World Athletics TR8.7.1); before that
one is made, where it opens none, or once the jury has decided on the protest or undone the
decision (TR8.11), the words say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import BindParameter, Connection, and_, bindparam, select

from app.appeals.tables import decisions
from app.appeals.wire import AffectedOut, DecisionOut, Instance
from app.clock import clock_time
from app.ids import AnnouncementId, DecisionId, HeatId
from app.meets.queries import MeetFacts
from app.meets.states import HeatState
from app.meets.tables import heats, lanes
from app.results.appealable import IS_TOLD_SINCE
from app.results.one_round import in_one_round, round_of
from app.results.tables import announcements, tellings
from app.results.windows import windows_by_announcement
from app.results.wire import WindowOut
from app.rules.windows import Remedy
from app.rulings.jurys_word import JURY_HAS_SETTLED
from app.store.rows import AnyRow

Told = Mapping[tuple[str, str], AnnouncementId | None]
Opened = Mapping[AnnouncementId, Sequence[WindowOut]]

_DECISIONS: BindParameter[Any] = bindparam("decisions", expanding=True)
_here = heats.alias("here")
_OF_DECISIONS = (
    select(decisions.c.id.label("decision"), heats.c.id)
    .select_from(decisions)
    .join(_here, _here.c.id == decisions.c.heat_id)
    .join(heats, in_one_round(heats, _here))
    .where(decisions.c.id.in_(_DECISIONS))
)
_RAN = (
    _OF_DECISIONS.join(lanes, lanes.c.heat_id == heats.c.id)
    .where(lanes.c.team_id.in_(bindparam("teams", expanding=True)))
    .add_columns(
        (_here.c.state != HeatState.NOT_HELD.value).label("is_decided_on_held"),
        lanes.c.team_id,
        heats.c.round,
        heats.c.number,
        (heats.c.id == decisions.c.heat_id).label("is_decided"),
        (heats.c.round_key == round_of(heats)).label("is_drawn"),
        JURY_HAS_SETTLED.label("is_settled"),
        decisions.c.settled_by,
    )
)
_TOLD = (
    _OF_DECISIONS.join(announcements, announcements.c.heat_id == heats.c.id)
    .add_columns(
        announcements.c.id.label("announcement"),
        tellings.c.decision_id.is_not(None).label("tells_it"),
    )
    .outerjoin(
        tellings,
        and_(
            tellings.c.announcement_id == announcements.c.id,
            tellings.c.decision_id == decisions.c.id,
            IS_TOLD_SINCE,
        ),
    )
    .order_by(announcements.c.number)
)


class _Found(NamedTuple):
    """What is known of all decisions of a page: where teams ran, by which announcement each heat
    was told of each decision, None where its announcements are older, and what those opened.
    """

    ran: Mapping[tuple[str, str], AnyRow]
    told: Told
    opened: Opened
    meet: MeetFacts


def affected_by(
    conn: Connection, meet: MeetFacts, decided: Iterable[DecisionOut], now: datetime
) -> Mapping[DecisionId, list[AffectedOut]]:
    """The teams that each decision moved or named, in five statements for all of them."""
    moving = [one for one in decided if one.consequences.concerned]
    if not moving:
        return {}
    asked = {"decisions": [one.id for one in moving]}
    teams = {move.team for one in moving for move in one.consequences.concerned}
    told: dict[tuple[str, str], AnnouncementId | None] = {}
    for row in conn.execute(_TOLD, asked):
        told.setdefault((row.decision, row.id), None)
        if row.tells_it:
            told[row.decision, row.id] = row.announcement
    telling = {one for one in told.values() if one is not None}
    found = _Found(
        ran=_ran(conn.execute(_RAN, {**asked, "teams": list(teams)})),
        told=told,
        opened=windows_by_announcement(conn, meet.id, telling, now),
        meet=meet,
    )
    return {one.id: _affected(one, found) for one in moving}


def _ran(rows: Iterable[AnyRow]) -> Mapping[tuple[str, str], AnyRow]:
    """By decision and team the heat it ran in: the one decided about before the one as drawn, and
    that before another re-run of it.
    """
    in_order = sorted(rows, key=lambda row: (row.is_decided, row.is_drawn))
    return {(row.decision, row.team_id): row for row in in_order}


def _affected(decision: DecisionOut, found: _Found) -> list[AffectedOut]:
    listed = []
    for move in decision.consequences.concerned:
        ran = found.ran.get((decision.id, move.team))
        window = (
            None
            if ran is None or _is_settled(decision, ran)
            else _window(decision, HeatId(ran.id), found)
        )
        words = _why_none(decision, ran, found)
        if window is not None and ran is not None:
            words = _until(window, found.meet) + _may_be_longer(decision, ran, window, found)
        listed.append(
            AffectedOut(
                team=move.team,
                team_name=move.name,
                heat=None if ran is None else ran.id,
                round="" if ran is None else ran.round,
                heat_number=None if ran is None else ran.number,
                window=None if window is None or ran is None else _named(window, ran, decision),
                words=words,
            )
        )
    return listed


def _named(window: WindowOut, ran: AnyRow, decision: DecisionOut) -> WindowOut:
    """A window by the announcement that opened it, with its heat where that is another one."""
    if window.heat == decision.heat:
        return window
    return window.model_copy(update={"opened_by": f"{window.opened_by} of {_called(ran)}"})


def _called(ran: AnyRow) -> str:
    return f"heat {ran.number}" + ("" if ran.is_drawn else f" of the {ran.round}")


def _is_settled(decision: DecisionOut, ran: AnyRow) -> bool:
    """Whether nobody can appeal against the referee any more, since the jury has settled it."""
    return decision.instance is Instance.REFEREE and bool(ran.is_settled)


def _window(decision: DecisionOut, heat_id: HeatId, found: _Found) -> WindowOut | None:
    """The window that a team of this heat has by a decision, None while it has none.

    Against the referee's decision an appeal lies. It is measured by whichever closes last of those
    in its own heat and in the one decided about, of which one may not tell the decision yet.
    """
    own = _opened_by(found.told.get((decision.id, heat_id)), found)
    if decision.instance is Instance.JURY:
        return next(iter(own), None)
    there = _opened_by(found.told.get((decision.id, decision.heat)), found)
    appeals = [one for one in [*own, *there] if one.remedy is Remedy.APPEAL]
    ends = [one.closes_at for one in appeals if one.closes_at is not None]
    if len(ends) < len(appeals):
        return next(one for one in appeals if one.closes_at is None)
    last = next((one for one in appeals if one.closes_at == max(ends)), None)
    return last or next(iter(own), None)


def _opened_by(announcement: AnnouncementId | None, found: _Found) -> Sequence[WindowOut]:
    return () if announcement is None else found.opened.get(announcement, ())


def _until(window: WindowOut, meet: MeetFacts) -> str:
    if window.closes_at is None:
        return f"{window.remedy} without a closing time"
    return f"{window.remedy} until {clock_time(window.closes_at, meet.time_zone)}"


def _may_be_longer(decision: DecisionOut, ran: AnyRow, window: WindowOut, found: _Found) -> str:
    """That the other one of the two heats by which an appeal is measured has yet to tell the
    decision, and the time ends later by that; empty where it does not.
    """
    if window.remedy is not Remedy.APPEAL or window.closes_at is None:
        return ""
    both = {ran.id: _called(ran)}
    if ran.is_decided_on_held:
        both[decision.heat] = "the heat decided about"
    to_tell = [one for one in both if found.told.get((decision.id, one)) is None]
    if not to_tell or decision.replaced_by is not None:
        return ""
    return f" at least; later by {_telling(decision, to_tell[0], both[to_tell[0]], found)}"


def _telling(decision: DecisionOut, heat_id: str, called: str, found: _Found) -> str:
    """The announcement that is the first of a heat to tell a decision, while that is to come."""
    is_announced = (decision.id, heat_id) in found.told
    amended, if_ever = ("amended ", ", if one is made") if is_announced else ("", "")
    return f"the {amended}announcement of {called}{if_ever}"


def _why_none(decision: DecisionOut, ran: AnyRow | None, found: _Found) -> str:
    """Why a team has no window, or with what it opens."""
    if ran is None:
        return "runs in no heat of this round any more"
    if _is_settled(decision, ran):
        final_by = found.meet.book.jury_final_by
        did = "decided on this protest" if ran.settled_by is None else "undone this decision"
        return f"the jury has {did} ({final_by}): no window"
    heat = _called(ran)
    is_announced = (decision.id, ran.id) in found.told
    if decision.instance is Instance.JURY and is_announced:
        return f"the jury's decision is final ({found.meet.book.jury_final_by}): no window"
    if found.told.get((decision.id, ran.id)) is not None:
        return f"the amended announcement of {heat} opened no window"
    if decision.replaced_by is not None:
        return "a later decision of the jury stands instead: no window"
    return f"opens with {_telling(decision, ran.id, heat, found)}"

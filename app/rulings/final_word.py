"""What the jury has decided about a team is neither ruled on again nor ordered anew.

The jury's decision is final (the edition's rule: World Athletics TR8.11, NFHS 3-5), whether it has
ordered something or let stand what the referee did. A further report of the same matter, that is
of the same infringement at the same take-over in the same run, changes nothing by itself; new
conclusive evidence is for the jury to look at (TR8.9, from memory). What is reported of another
matter is ruled on as ever, and what the referee alone decided, the referee may look at again
(CR18.6, from memory).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from app.ids import HeatId, MeetId, RulingId, TeamId
from app.meets.queries import meet_facts
from app.refusals import StateConflict
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rulings.as_ruled import reports_in
from app.rulings.jurys_word import (
    appeal_resting_on,
    dismissals_jury_let_stand,
    jury_has_the_word,
    jury_stands_on,
    not_disqualified,
    set_aside_for_good,
)
from app.rulings.queries import decided_on
from app.store.rows import AnyRow


class Matter(NamedTuple):
    """What a team may have done in a run, and where: a take-over that is not known is None."""

    team: TeamId
    infringement: Infringement
    take_overs: Collection[int | None]
    run: int


class ByJury(NamedTuple):
    """The appeal on which the jury has decided, and what it has decided in words."""

    appeal: int
    words: str


def insist_jury_has_not_decided(
    conn: Connection, case: AnyRow, infringement: Infringement, reports: Sequence[ReportOut]
) -> None:
    """StateConflict where confirming this would pass over a decision of the jury."""
    refused = refused_for_the_jury(conn, case, infringement, reports)
    if refused is not None:
        raise refused


def refused_for_the_jury(
    conn: Connection, case: AnyRow, infringement: Infringement, reports: Sequence[ReportOut]
) -> StateConflict | None:
    """What confirming this is refused with, None where the jury has not decided on it."""
    matter = Matter(
        TeamId(case.team_id), infringement, _take_overs(reports, infringement), case.present_run
    )
    decided = jury_decided(conn, MeetId(case.meet_id), HeatId(case.heat_id), matter)
    if decided is None:
        return None
    book = meet_facts(conn, MeetId(case.meet_id)).book
    return StateConflict(
        f"{decided.words}, and its decision is final ({book.jury_final_by}). Dismiss this "
        "case; with new conclusive evidence the jury can reopen its decision.",
        appeal=decided.appeal,
    )


def refused_to_reconsider(
    conn: Connection, meet_id: MeetId, ruling: RulingId
) -> StateConflict | None:
    """What a new ruling in place of this one is refused with, None where the referee may reconsider
    it (World Athletics CR18.6, from memory): until a decision on a protest or an appeal has moved
    it, or the jury has let it stand.
    """
    decided = decided_on(conn, ruling)
    is_moved = decided is not None and jury_has_the_word(conn, decided.decision)
    book = meet_facts(conn, meet_id).book
    appeal = appeal_resting_on(conn, ruling)
    if appeal is not None:
        return StateConflict(
            f"The jury's decision on appeal {appeal} rests on what became of this ruling, and is "
            f"final ({book.jury_final_by}). With new conclusive evidence the jury can reopen it.",
            appeal=appeal,
        )
    if is_moved or jury_stands_on(conn, ruling):
        return StateConflict(
            "The jury has decided about this ruling, and its decision is final "
            f"({book.jury_final_by}). With new conclusive evidence the jury can reopen it."
        )
    if decided is not None:
        return StateConflict(
            f"This ruling's disqualification was {decided.what}. Whoever disagrees with that "
            "appeals to the jury; a new ruling would pass over the decision."
        )
    return None


def jury_decided(conn: Connection, meet_id: MeetId, heat: HeatId, matter: Matter) -> ByJury | None:
    """What the jury has decided on a matter of a heat, None where nothing."""
    for known in set_aside_for_good(conn, heat, matter.team):
        is_it = (known.infringement, known.run) == (matter.infringement, matter.run)
        if is_it and _may_be_one(matter.take_overs, {known.take_over}):
            return _by_jury(known.appeal, matter, known.did)
    for asked in not_disqualified(conn, heat, matter.team):
        is_it = asked.infringement == matter.infringement
        if is_it and _may_be_one(matter.take_overs, {asked.take_over}):
            return _by_jury(asked.appeal, matter, "has not disqualified the team for this")
    for dismissed in dismissals_jury_let_stand(conn, heat, matter.team):
        told = _take_overs(reports_in(conn, meet_id, dismissed.case), matter.infringement)
        if told and dismissed.run == matter.run and _may_be_one(matter.take_overs, told):
            return _by_jury(dismissed.appeal, matter, "has let stand that this was dismissed")
    return None


def _by_jury(appeal: int, matter: Matter, what: str) -> ByJury:
    title = title_of(matter.infringement).lower()
    return ByJury(appeal, f"The jury {what} (appeal {appeal}; {title})")


def _take_overs(reports: Sequence[ReportOut], infringement: Infringement) -> set[int | None]:
    """The take-overs at which the reports that stand tell of an infringement."""
    return {
        report.take_over
        for report in reports
        if report.state is not ReportState.WITHDRAWN
        and report.finding is not None
        and report.finding.infringement is infringement
    }


def _may_be_one(one: Collection[int | None], other: Collection[int | None]) -> bool:
    """Whether two accounts may be of one matter: a take-over that is not known may be any."""
    return not one or None in {*one, *other} or not set(one).isdisjoint(other)

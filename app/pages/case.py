"""A case as the head official and the jury read it: everything about one team in one heat.

The reports side by side, the zone with all that was seen, what a ruling would move, the clock, what
else was ruled about the heat, and what has happened. The head official rules here and asks back;
both go over HTTP, and what the page asks for is what the action would ask for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Path, Request, Response
from sqlalchemy import Connection

from app.access.guard import Here
from app.access.queries import Caller
from app.appeals.foreseeing import ruling_consequences
from app.appeals.queries import docket_of
from app.appeals.wire import RulingConsequencesOut
from app.guarded import for_readers
from app.ids import CaseId, ChosenId, MeetId, ReportId, RulingId
from app.meets.queries import MeetFacts, meet_facts
from app.meets.rehearsing import insist_no_rehearsal
from app.meets.wire import HeatOut
from app.pages.case_history import Happened, history
from app.pages.frame import frame_of
from app.pages.head import Ruled, just_signed
from app.pages.rendering import Language, Page, render
from app.pages.zone_figure import SeenZone, zones_seen
from app.pages.zone_flags import Beside, flags_of_cases
from app.record.kinds import Kind
from app.record.queries import Made, entries_about
from app.refusals import Refusal, StateConflict
from app.reports.findings import OBSERVATIONS
from app.reports.queries import case_row, noted_against
from app.reports.states import CaseState, ReportState
from app.reports.wire import CaseOut, ReportOut
from app.results.finality import heat_shown
from app.results.windows import windows_of_heat
from app.results.wire import WindowOut
from app.roles import Role
from app.rulings.as_ruled import case_told
from app.rulings.asked import Asked, what_is_asked
from app.rulings.final_word import refused_to_reconsider
from app.rulings.observed import tell
from app.rulings.queries import ruling_out, rulings_in_heat
from app.rulings.returns import returns_of
from app.rulings.who_rules import why_not
from app.rulings.wire import RulingOut, StandingRulingOut

router = for_readers()


@dataclass(frozen=True, slots=True)
class Ruling:
    """What whoever looks may do about the case. `barred` says in words why they may not rule.

    `reconsiders` is the ruling that a new one replaces.
    """

    may_ask: bool
    may_rule: bool
    barred: str
    asked: Asked
    reconsiders: RulingId | None


@dataclass(frozen=True, slots=True)
class CaseShown:
    """All that the page shows of a case. `moves` is None where `no_moves` says why."""

    case: CaseOut
    heat: HeatOut
    seen: Sequence[str]
    zones: Sequence[SeenZone]
    moves: RulingConsequencesOut | None
    no_moves: str
    rulings: Sequence[RulingOut]
    beside: Sequence[StandingRulingOut]
    windows: Sequence[WindowOut]
    history: Sequence[Happened]
    ruling: Ruling
    further_of: int | None
    since_ruled: str | None
    zone_flags: Beside

    @property
    def returnable(self) -> Sequence[tuple[int, ReportOut]]:
        """The reports that can be returned to their umpire, with their numbers."""
        numbered = enumerate(self.case.reports, 1)
        return [(number, one) for number, one in numbered if "return" in one.possible]

    @property
    def stands(self) -> RulingOut | None:
        """The ruling that stands."""
        return self.rulings[-1] if self.rulings else None


@router.get("/meets/{meet}/cases/{case}")
async def show_case(
    meet: Annotated[ChosenId, Path()],
    case: Annotated[ChosenId, Path()],
    request: Request,
    here: Here,
    ruled: Ruled = None,
    language: Language = None,
) -> Response:
    """A case, and the ruling on it."""
    frame = await frame_of(here, MeetId(meet))
    shown = await here.store.read_apart(
        lambda conn: read_case(conn, MeetId(meet), CaseId(case), here.caller, frame.now)
    )
    signed = await here.store.read(lambda conn: just_signed(conn, MeetId(meet), ruled))
    others = 0
    if here.caller.holds(Role.REFEREE, Role.CHIEF_UMPIRE):
        others = await here.store.read(lambda conn: docket_of(conn, MeetId(meet)).open)
    shows = {"frame": frame, "at": shown, "case": shown.case, "signed": signed, "waiting": others}
    return render(request, Page("case.html", shows, zone=frame.meet.time_zone), language)


def read_case(
    conn: Connection, meet_id: MeetId, case_id: CaseId, caller: Caller, now: datetime
) -> CaseShown:
    """Everything about a case; NotFound for an id that is not of this meet."""
    meet = meet_facts(conn, meet_id)
    case = case_told(conn, meet_id, case_id)
    heat = heat_shown(conn, meet_id, case.heat, now)
    rulings = [ruling_out(conn, meet_id, one) for one in case.rulings]
    moves, no_moves = _moves(conn, meet_id, case)
    standing = rulings_in_heat(conn, meet_id, case.heat).rulings
    returns = returns_of(conn, meet_id, [one.id for one in case.reports])
    return CaseShown(
        case=case,
        heat=heat,
        seen=[_observed(one) for one in case.reports],
        zones=zones_seen(heat.relay, case.reports, meet.book),
        moves=moves,
        no_moves=no_moves,
        rulings=rulings,
        beside=[one for one in standing if one.case != case_id],
        windows=windows_of_heat(conn, meet_id, case.heat, now),
        history=history(case, rulings, returns, _withdrawals(conn, meet_id, case)),
        ruling=_ruling(conn, meet, case, caller),
        further_of=_number(conn, meet_id, case.further_of),
        zone_flags=flags_of_cases(conn, meet_id, [case])[case.id],
        since_ruled=next((one.since for one in standing if one.case == case_id), None),
    )


def _withdrawals(conn: Connection, meet_id: MeetId, case: CaseOut) -> dict[ReportId, Made]:
    taken = [one.id for one in case.reports if one.state is ReportState.WITHDRAWN]
    made = {one: entries_about(conn, meet_id, Kind.REPORT_WITHDRAWN, one) for one in taken}
    return {one: entries[-1] for one, entries in made.items() if entries}


def _observed(report: ReportOut) -> str:
    """What was seen, in sentences; empty before the account has come."""
    if report.observation is None:
        return ""
    return tell(OBSERVATIONS.validate_python(report.observation))


def _number(conn: Connection, meet_id: MeetId, case: CaseId | None) -> int | None:
    return None if case is None else int(case_row(conn, meet_id, case).number)


def _moves(
    conn: Connection, meet_id: MeetId, case: CaseOut
) -> tuple[RulingConsequencesOut | None, str]:
    if case.state in {CaseState.JOINED, CaseState.CLOSED}:
        return None, ""
    try:
        insist_no_rehearsal(conn, case.heat)
        return ruling_consequences(conn, meet_id, case.id), ""
    except StateConflict as unknown:
        return None, unknown.detail


def _ruling(conn: Connection, meet: MeetFacts, case: CaseOut, caller: Caller) -> Ruling:
    is_head = caller.holds(Role.REFEREE, Role.CHIEF_UMPIRE)
    can_be_ruled = case.state in {CaseState.OPEN, CaseState.RULED}
    barred = ""
    if is_head and can_be_ruled:
        refused = _of_rehearsal(conn, case) or why_not(conn, meet, case.id, caller)
        refused = refused or _settled(conn, meet, case)
        barred = refused.detail if refused is not None else ""
    return Ruling(
        may_ask=is_head and case.state is CaseState.OPEN,
        may_rule=is_head and can_be_ruled and not barred,
        barred=barred,
        asked=_asked(conn, meet, case),
        reconsiders=case.rulings[-1] if case.state is CaseState.RULED else None,
    )


def _of_rehearsal(conn: Connection, case: CaseOut) -> Refusal | None:
    """Why nobody rules on a case of a rehearsal, None for all others."""
    try:
        insist_no_rehearsal(conn, case.heat)
    except StateConflict as refused:
        return refused
    return None


def _settled(conn: Connection, meet: MeetFacts, case: CaseOut) -> StateConflict | None:
    """Why the ruling that stands cannot be reconsidered, None where it can."""
    if case.state is not CaseState.RULED:
        return None
    return refused_to_reconsider(conn, meet.id, case.rulings[-1])


def _asked(conn: Connection, meet: MeetFacts, case: CaseOut) -> Asked:
    """What a confirming ruling asks for; of earlier notes, not the one that it would replace."""
    noted: set[RulingId] = set()
    if case.team is not None:
        noted.update(noted_against(conn, meet.id, case.team, case.heat).in_this_heat)
    present = case_row(conn, meet.id, case.id).present_run
    return what_is_asked(meet, case.reports, present, noted - {*case.rulings})

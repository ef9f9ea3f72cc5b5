"""The state tables of reports and cases, held against the design's text.

Report: raised → written → returned → written … → ruled; withdrawn by its umpire before a ruling,
with a reason. Case: open → ruled; a report after the ruling opens a further case. That a case can
be joined to another, and reconsidered, and that a phone may still write to a flag whose account
came as another report, the design's decisions add. A rehearsal's cases end without a ruling.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

import pytest

from app.ids import EventId, TeamId, new_id
from app.meets.queries import Running
from app.meets.states import HeatState
from app.refusals import NotPossible
from app.reports.arriving import Arriving, marks_on
from app.reports.states import (
    CASE_TABLE,
    REPORT_TABLE,
    CaseAct,
    CaseState,
    Mark,
    ReportAct,
    ReportState,
)
from app.rules.book import load_book
from app.rules.relay import Relay
from app.transitions import StateTable, Step

REPORT_STEPS: dict[tuple[StrEnum, StrEnum], StrEnum] = {
    (ReportState.RAISED, ReportAct.WRITE): ReportState.WRITTEN,
    (ReportState.RETURNED, ReportAct.WRITE): ReportState.WRITTEN,
    (ReportState.WRITTEN, ReportAct.RETURN): ReportState.RETURNED,
    (ReportState.WRITTEN, ReportAct.RULE): ReportState.RULED,
    (ReportState.RAISED, ReportAct.WITHDRAW): ReportState.WITHDRAWN,
    (ReportState.WRITTEN, ReportAct.WITHDRAW): ReportState.WITHDRAWN,
    (ReportState.RETURNED, ReportAct.WITHDRAW): ReportState.WITHDRAWN,
    # Only of a flag whose account came as another report, so that nothing is lost.
    (ReportState.WITHDRAWN, ReportAct.WRITE_ALL_THE_SAME): ReportState.WRITTEN,
}
CASE_STEPS: dict[tuple[StrEnum, StrEnum], StrEnum] = {
    (CaseState.OPEN, CaseAct.JOIN): CaseState.JOINED,
    (CaseState.OPEN, CaseAct.CLOSE): CaseState.CLOSED,
    (CaseState.OPEN, CaseAct.RULE): CaseState.RULED,
    (CaseState.RULED, CaseAct.RECONSIDER): CaseState.RULED,
}
# Nobody asks for these: a report is ruled with its case, joined is the case that it leaves, and a
# rehearsal's cases are closed with it.
FOLLOWING = {
    (REPORT_TABLE, ReportAct.RULE),
    (REPORT_TABLE, ReportAct.WRITE_ALL_THE_SAME),
    (CASE_TABLE, CaseAct.JOIN),
    (CASE_TABLE, CaseAct.CLOSE),
}
PAIRS = [
    *((REPORT_TABLE, REPORT_STEPS, state, act) for state in ReportState for act in ReportAct),
    *((CASE_TABLE, CASE_STEPS, state, act) for state in CaseState for act in CaseAct),
]


@pytest.mark.parametrize(("table", "steps", "state", "act"), PAIRS)
def test_a_thing_goes_only_where_the_design_lets_it(
    table: StateTable[Any, Any],
    steps: dict[tuple[StrEnum, StrEnum], StrEnum],
    state: StrEnum,
    act: StrEnum,
) -> None:
    if (state, act) in steps:
        assert table.step(state, act).becomes is steps[state, act]
        return
    with pytest.raises(NotPossible) as refused:
        table.step(state, act)
    can_be_asked = sorted(a for s, a in steps if s == state and (table, a) not in FOLLOWING)
    assert refused.value.facts["possible"] == can_be_asked
    assert state in refused.value.detail


def test_nothing_leads_out_of_ruled_or_withdrawn() -> None:
    for state in (ReportState.RULED, ReportState.WITHDRAWN):
        assert REPORT_TABLE.possible(state) == ()


@pytest.mark.parametrize("state", HeatState)
def test_a_flag_is_late_from_the_announcement_on_also_once_the_result_is_final(
    state: HeatState,
) -> None:
    running = Running(
        state=state,
        run=1,
        started_at=None,
        event_id=EventId(new_id()),
        relay=Relay.FOUR_BY_100,
        team_id=TeamId(new_id()),
        team_name="Tern",
        book=load_book("world-athletics-2025"),
    )
    marks = marks_on(Arriving(1, running, early=False, post=None), lane=4)
    assert (Mark.AFTER_ANNOUNCEMENT in marks) == (state in {"announced", "final"})


def test_a_table_that_names_a_step_twice_is_refused() -> None:
    step = Step(CaseState.OPEN, CaseAct.RULE, CaseState.RULED)
    with pytest.raises(ValueError, match="twice"):
        StateTable("case", [step, step])

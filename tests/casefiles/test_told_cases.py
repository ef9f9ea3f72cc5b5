"""A report that has gone on from a case that was ruled on is one report of the file still."""

from __future__ import annotations

import pytest

from app.casefiles.told_cases import Cases
from app.ids import CaseId, ReportId, new_id
from app.reports.wire import CaseOut, GoneOn, ReportOut


@pytest.mark.parametrize("now_comes_first", [False, True])
def test_a_report_is_told_as_it_is_now_whichever_of_its_cases_comes_first(
    *, now_comes_first: bool
) -> None:
    ruled, other, report = CaseId(new_id()), CaseId(new_id()), ReportId(new_id())

    def case(ident: CaseId, gone_on: list[GoneOn]) -> CaseOut:
        lies = ReportOut.model_construct(id=report, case=ident)
        return CaseOut.model_construct(id=ident, reports=[lies], gone_on=gone_on)

    cases = [case(ruled, [GoneOn(report=report, case=other)]), case(other, [])]
    if now_comes_first:
        cases.reverse()
    [told] = Cases(tuple(cases), {report: 1}).reports.values()
    assert told.case == other

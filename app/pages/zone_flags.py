"""What the survey found of the zones of cases: of their own lane and zone, and elsewhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

from sqlalchemy import Connection

from app.ids import CaseId, MeetId
from app.reports.states import ReportState
from app.reports.wire import CaseLine, CaseOut
from app.surveys.queries import NOTHING_FOUND, found_in

Beside: TypeAlias = tuple[Sequence[str], Sequence[str]]


def flags_of_cases(
    conn: Connection, meet_id: MeetId, cases: Sequence[CaseOut] | Sequence[CaseLine]
) -> Mapping[CaseId, Beside]:
    """By case, in sentences."""
    found = found_in(conn, meet_id, [one.heat for one in cases])
    return {
        one.id: found.get(one.heat, NOTHING_FOUND).flags_beside(one.lane, _take_overs(one))
        for one in cases
    }


def _take_overs(case: CaseOut | CaseLine) -> set[int]:
    """Those that its standing reports are about; none where one of them may be about any."""
    standing = [one for one in case.reports if one.state is not ReportState.WITHDRAWN]
    told = {one.take_over for one in standing}
    return set() if None in told else {one for one in told if one is not None}

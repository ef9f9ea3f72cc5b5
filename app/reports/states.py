"""The states of a report and of a case, as the design page has them.

A ruling takes along the reports that are written. One that is only raised, or that was returned and
not yet written again, may still come: it then opens a further case, so that nothing is lost.
"""

from __future__ import annotations

from enum import StrEnum

from app.roles import Role
from app.transitions import Need, StateTable, Step

UMPIRES = frozenset({Role.UMPIRE, Role.CHIEF_UMPIRE, Role.REFEREE})
HEAD = frozenset({Role.REFEREE, Role.CHIEF_UMPIRE})


class ReportState(StrEnum):
    """Where a report stands. Raised: the flag is up, the facts follow."""

    RAISED = "raised"
    WRITTEN = "written"
    RETURNED = "returned"
    RULED = "ruled"
    WITHDRAWN = "withdrawn"


class ReportAct(StrEnum):
    """What can happen to a report."""

    WRITE = "write"
    RETURN = "return"
    WITHDRAW = "withdraw"
    RULE = "rule"


REPORT_TABLE = StateTable(
    "report",
    [
        Step(ReportState.RAISED, ReportAct.WRITE, ReportState.WRITTEN, UMPIRES),
        Step(ReportState.RETURNED, ReportAct.WRITE, ReportState.WRITTEN, UMPIRES),
        Step(
            ReportState.WRITTEN,
            ReportAct.RETURN,
            ReportState.RETURNED,
            HEAD,
            frozenset({Need.REASON}),
        ),
        *(
            Step(
                state, ReportAct.WITHDRAW, ReportState.WITHDRAWN, UMPIRES, frozenset({Need.REASON})
            )
            for state in (ReportState.RAISED, ReportState.WRITTEN, ReportState.RETURNED)
        ),
        Step(
            ReportState.WRITTEN,
            ReportAct.RULE,
            ReportState.RULED,
            HEAD,
            frozenset({Need.REASON, Need.PIN, Need.SECOND_PERSON}),
        ),
    ],
)


class CaseState(StrEnum):
    """Where a case stands. Joined: all its reports turned out to belong to another case."""

    OPEN = "open"
    RULED = "ruled"
    JOINED = "joined"


class CaseAct(StrEnum):
    """What can happen to a case."""

    ADD_REPORT = "add report"
    JOIN = "join"
    RULE = "rule"
    RECONSIDER = "reconsider"


SIGNED_BY_ANOTHER = frozenset({Need.REASON, Need.PIN, Need.SECOND_PERSON})

CASE_TABLE = StateTable(
    "case",
    [
        Step(CaseState.OPEN, CaseAct.ADD_REPORT, CaseState.OPEN, UMPIRES),
        Step(CaseState.OPEN, CaseAct.JOIN, CaseState.JOINED, UMPIRES),
        Step(CaseState.OPEN, CaseAct.RULE, CaseState.RULED, HEAD, SIGNED_BY_ANOTHER),
        Step(CaseState.RULED, CaseAct.RECONSIDER, CaseState.RULED, HEAD, SIGNED_BY_ANOTHER),
    ],
)


class Mark(StrEnum):
    """What is odd about a call or a report that is kept all the same."""

    NO_TEAM = "no team in this lane"
    NOT_RUNNING = "heat was not running"
    OUTSIDE_POST = "lane outside the post"
    OTHERS_POST = "post of somebody else"

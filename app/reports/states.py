"""The states of a report and of a case, as the design page has them.

A ruling takes along the reports that are written. One that is only raised, or that was returned and
not yet written again, may still come: it then opens a further case, so that nothing is lost.
"""

from __future__ import annotations

from enum import StrEnum

from app.transitions import StateTable, Step


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
    WRITE_ALL_THE_SAME = "write all the same"


REPORT_TABLE = StateTable(
    "report",
    [
        Step(ReportState.RAISED, ReportAct.WRITE, ReportState.WRITTEN),
        Step(ReportState.RETURNED, ReportAct.WRITE, ReportState.WRITTEN),
        Step(ReportState.WRITTEN, ReportAct.RETURN, ReportState.RETURNED),
        *(
            Step(state, ReportAct.WITHDRAW, ReportState.WITHDRAWN)
            for state in (ReportState.RAISED, ReportState.WRITTEN, ReportState.RETURNED)
        ),
        Step(ReportState.WRITTEN, ReportAct.RULE, ReportState.RULED, follows=True),
        # A flag whose account came as another report: a phone that still writes to it is heard.
        Step(
            ReportState.WITHDRAWN,
            ReportAct.WRITE_ALL_THE_SAME,
            ReportState.WRITTEN,
            follows=True,
        ),
    ],
)


class CaseState(StrEnum):
    """Where a case stands. Joined: all its reports turned out to belong to another case. Closed: it
    is of a rehearsal that has ended, and nobody rules on it.
    """

    OPEN = "open"
    RULED = "ruled"
    JOINED = "joined"
    CLOSED = "closed"


class CaseAct(StrEnum):
    """What can happen to a case."""

    JOIN = "join"
    CLOSE = "close"
    RULE = "rule"
    RECONSIDER = "reconsider"


CASE_TABLE = StateTable(
    "case",
    [
        Step(CaseState.OPEN, CaseAct.JOIN, CaseState.JOINED, follows=True),
        Step(CaseState.OPEN, CaseAct.CLOSE, CaseState.CLOSED, follows=True),
        Step(CaseState.OPEN, CaseAct.RULE, CaseState.RULED),
        Step(CaseState.RULED, CaseAct.RECONSIDER, CaseState.RULED),
    ],
)


class Mark(StrEnum):
    """What is odd about a call or a report that is kept all the same."""

    NO_TEAM = "no team in this lane"
    NOT_RUNNING = "heat was not running"
    AFTER_ANNOUNCEMENT = "came after the result was announced"
    OUTSIDE_POST = "lane outside the post"
    OTHERS_POST = "post of somebody else"
    SIGNATURE_UNFIT = "the phone's signature does not fit what was sent"
    KEY_UNKNOWN = "signed with a key that is not known here"
    KEY_REVOKED = "signed with a key that was revoked before it came"
    CALLED_BY_HEAD = "called by the head of the crew"
    LATER_POST = "post of a later crew plan"
    STAND_IN = "by a stand-in"
    BEFORE_START = "shown before the heat was started"
    EARLIER_RUN = "from a recalled start of the heat"
    RETIRED_POST = "post no longer in the crew plan"


OF_TIME = frozenset({Mark.NOT_RUNNING, Mark.AFTER_ANNOUNCEMENT, Mark.BEFORE_START})
"""The marks that say when something came, not what it says."""

NOT_FOR_POST = frozenset(
    {Mark.OTHERS_POST, Mark.LATER_POST, Mark.RETIRED_POST, Mark.BEFORE_START, Mark.NOT_RUNNING}
)
"""The marks of what does not speak for the post that it names."""

RELAYED = frozenset({Mark.CALLED_BY_HEAD, Mark.RETIRED_POST})
"""How a flag is marked that the head of the crew shows for somebody else's post."""

"""What must a ruling that confirms say beside its reasons, since the reports leave it open?

The action refuses a ruling that lacks it, and the page asks for it before: both by these.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from app.ids import RulingId
from app.meets.queries import MeetFacts
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.finding import Outcome
from app.rules.observation import Infringement


@dataclass(frozen=True, slots=True)
class Asked:
    """What the page asks for: which of the infringements, none where all reports say the same; how
    many lane infringements, in words why; and the word for a race that is run again.
    """

    infringements: tuple[Infringement, ...]
    is_named: bool
    why_count: str
    may_be_none: bool
    earlier_run: frozenset[Infringement]


def what_is_asked(
    meet: MeetFacts, reports: Sequence[ReportOut], present: int, noted: Collection[RulingId]
) -> Asked:
    """What confirming a case would ask for. `noted`: the other rulings that noted a lane
    infringement of its team in its heat.
    """
    told = reported_in(reports)
    others = [one for one in Infringement if one not in told]
    return Asked(
        infringements=(*told, *others),
        is_named=len(told) == 1,
        why_count=why_count_is_asked(meet, reports, noted),
        may_be_none=bool(noted),
        earlier_run=frozenset(
            one for one in Infringement if is_of_earlier_run(reports, one, present)
        ),
    )


def reported_in(reports: Sequence[ReportOut]) -> tuple[Infringement, ...]:
    """What the reports that stand tell of, each once, in their order."""
    return tuple(
        dict.fromkeys(
            report.finding.infringement
            for report in reports
            if report.finding is not None and report.state is not ReportState.WITHDRAWN
        )
    )


def why_count_is_asked(
    meet: MeetFacts, reports: Sequence[ReportOut], noted: Collection[RulingId]
) -> str:
    """Why a number of lane infringements is asked for; empty where it is one, or does not matter.

    Two reports from one umpire, or from different take-overs, may tell of two. One that comes after
    a ruling in the same heat may tell of the very step that was noted.
    """
    if not meet.book.tolerated_lane_infringements:
        return ""
    if noted:
        return (
            "A lane infringement of this team in this heat was noted before: say how many more "
            "this ruling confirms, 0 if it is the same one."
        )
    if _may_be_several(reports):
        return (
            "The reports may tell of more than one lane infringement: say how many separate ones "
            "are confirmed."
        )
    return ""


def _may_be_several(reports: Sequence[ReportOut]) -> bool:
    told = [
        report
        for report in reports
        if tells_of(report, Infringement.LANE_INFRINGEMENT)
        and report.state is not ReportState.WITHDRAWN
        and report.finding is not None
        and report.finding.outcome is not Outcome.NO_INFRINGEMENT
    ]
    observers = Counter(report.official for report in told)
    places = {report.take_over for report in told}
    return len(places) > 1 or max(observers.values(), default=0) > 1


def is_of_earlier_run(
    reports: Sequence[ReportOut], infringement: Infringement | None, present: int
) -> bool:
    """Whether all that was reported of this is from a race that does not count any more."""
    standing = [report for report in reports if report.state is not ReportState.WITHDRAWN]
    told = [report for report in standing if tells_of(report, infringement)] or standing
    return all(report.run < present for report in told)


def tells_of(report: ReportOut, infringement: Infringement | None) -> bool:
    """Whether a report is about this infringement."""
    return report.finding is not None and report.finding.infringement is infringement

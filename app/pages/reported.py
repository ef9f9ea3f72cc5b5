"""Reports as a page shows them side by side: what was seen, by whose clock, and where.

Sentences about what was seen are those of the printed form, in English; all else is told by the
page in its own language.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from app.meets.queries import MeetFacts
from app.pages.zone_figure import SeenZone, zones_seen
from app.reports.wire import CaseOut, ReportOut
from app.rules.relay import Relay
from app.rulings.reported import report_on_form, zone_note
from app.rulings.wire import RulingOut


@dataclass(frozen=True, slots=True)
class ReportShown:
    """A report with its number in the case, as on the form."""

    number: int
    report: ReportOut
    observed: str
    written_at: datetime | None
    clock_note: str


@dataclass(frozen=True, slots=True)
class CaseShown:
    """A case with its reports side by side, its zones, and the rulings on it."""

    case: CaseOut
    reports: tuple[ReportShown, ...]
    zones: tuple[SeenZone, ...]
    zone_note: str
    rulings: tuple[RulingOut, ...]


def case_shown(
    meet: MeetFacts, relay: Relay, case: CaseOut, rulings: Sequence[RulingOut]
) -> CaseShown:
    """A case as a page shows it; `rulings` may be those of other cases too."""
    return CaseShown(
        case=case,
        reports=tuple(_report(meet, number, one) for number, one in enumerate(case.reports, 1)),
        zones=zones_seen(relay, case.reports, meet.book),
        zone_note=zone_note(case.reports),
        rulings=tuple(one for one in rulings if one.case == case.id),
    )


def _report(meet: MeetFacts, number: int, report: ReportOut) -> ReportShown:
    told = report_on_form(report, (), meet.time_zone)
    return ReportShown(
        number=number,
        report=report,
        observed=told.observed,
        written_at=None if report.clock is None else report.clock.by_the_server(),
        clock_note=told.clock_note,
    )

"""What has happened in a case, in the order of time: flags, accounts, questions, rulings.

Pure: from what the case holds. Times are the server's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from app.ids import ReportId
from app.record.kinds import Kind
from app.record.queries import Made
from app.reports.wire import CaseOut, ReportOut
from app.rulings.returns import Return
from app.rulings.wire import RulingOut


class What(StrEnum):
    """What can have happened."""

    FLAG = "flag"
    WRITTEN = "written"
    RETURNED = "returned"
    WRITTEN_AGAIN = "written again"
    WITHDRAWN = "withdrawn"
    PICTURE = "picture"
    CONFIRMED = "confirmed"
    DISMISSED = "dismissed"


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing that happened: when, what, by whom; of a report its number, and what was said."""

    at: datetime
    what: What
    by: str
    report: int | None = None
    words: str = ""


def history(
    case: CaseOut,
    rulings: Sequence[RulingOut],
    returns: Mapping[ReportId, Sequence[Return]],
    withdrawals: Mapping[ReportId, Made],
) -> list[Happened]:
    """All of it, first to last."""
    found = [
        one
        for number, report in enumerate(case.reports, 1)
        for one in _of_report(number, report, returns.get(report.id, ()))
    ]
    found += [
        Happened(withdrawn.at, What.WITHDRAWN, report.official_name, number, _reason(withdrawn))
        for number, report in enumerate(case.reports, 1)
        if (withdrawn := withdrawals.get(report.id)) is not None
    ]
    found += [_of_ruling(one) for one in rulings]
    return sorted(found, key=lambda one: one.at)


def _of_report(number: int, report: ReportOut, returns: Sequence[Return]) -> Iterator[Happened]:
    name = report.official_name
    yield Happened(report.raised_at, What.FLAG, name, number)
    written = returns[0].written_at if returns else report.received_at
    if written is not None:
        yield Happened(written, What.WRITTEN, name, number)
    for one in returns:
        yield Happened(one.at, What.RETURNED, one.by, number, one.asked)
        if one.became_at is not None and one.became is not Kind.REPORT_WITHDRAWN:
            yield Happened(one.became_at, What.WRITTEN_AGAIN, name, number)
    for picture in report.pictures:
        yield Happened(picture.received_at, What.PICTURE, picture.official_name, number)


def _reason(withdrawn: Made) -> str:
    return str((withdrawn.body or {}).get("reason", ""))


def _of_ruling(ruling: RulingOut) -> Happened:
    what = What(ruling.verdict.value)
    return Happened(ruling.ruled_at, what, ruling.official_name, words=ruling.effect)

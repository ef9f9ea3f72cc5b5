"""How does a report stand on the form of a ruling: what was seen, where, and when by whose clock?

A time is told by the server's clock as far as the phone's was compared with it, and what the phone
itself showed stands behind it, with its error. Positions of all reports about one take-over go onto
one drawing.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

from app.access.pen import revoked_in_words
from app.clock import at_the_meet, rfc3339
from app.forms.infringement_form import (
    InkField,
    ReportOnForm,
    ReturnOnForm,
    ZoneMark,
    ZonePicture,
)
from app.ids import OfficialId
from app.record.kinds import Kind
from app.reports.findings import OBSERVATIONS
from app.reports.states import ReportState
from app.reports.wire import AttestedOut, ReportOut
from app.rules.book import Book
from app.rules.book_parts import ZoneRule
from app.rules.finding import title_of
from app.rules.observation import Infringement, Mark, Observation, Position
from app.rules.relay import Relay
from app.rules.whereabouts import metres_along
from app.rulings.observed import tell
from app.rulings.returns import Return

CONCERNED = {Infringement.PASS_COMPLETED_BEYOND_ZONE: Mark.ZONE_END}
BECAME = {
    Kind.REPORT_WRITTEN: "written again",
    Kind.REPORT_WITHDRAWN: "withdrawn",
    None: "not written again before the ruling",
}
BEGINNING = 12
"""Of a digest in hexadecimal, as many digits as tell a meet's pictures apart."""
ASPECTS = {"baton": "baton", "foot": "receiver's foot"}


def zone_pictures(
    relay: Relay, reports: Sequence[ReportOut], book: Book
) -> tuple[ZonePicture, ...]:
    """The zone of each take-over that standing reports are about, with every observer's marks."""
    named = (report.take_over for report in reports if stands(report))
    take_overs = sorted({one for one in named if one is not None})
    return tuple(_picture(relay, one, reports, book) for one in take_overs)


def stands(report: ReportOut) -> bool:
    """Whether its umpire has not withdrawn it."""
    return report.state is not ReportState.WITHDRAWN


def _picture(relay: Relay, take_over: int, reports: Sequence[ReportOut], book: Book) -> ZonePicture:
    zone = book.zone(relay, take_over)
    there = [one for one in reports if stands(one) and one.take_over == take_over]
    return ZonePicture(
        name=f"take-over {take_over}",
        length_m=zone.length_m,
        leg_line_m=zone.leg_line_m,
        acceleration_m=zone.acceleration_m,
        marks=tuple(mark for report in there for mark in _marks(report, zone)),
    )


def zone_note(reports: Sequence[ReportOut]) -> str:
    """Which positions stand on no drawing, or that there is none, since no take-over is named."""
    notes = [
        f"The position in report {number} is not drawn, since it names no take-over."
        for number, report in enumerate(reports, 1)
        if stands(report) and report.take_over is None and _has_position(report)
    ]
    if not any(stands(report) and report.take_over is not None for report in reports):
        notes.insert(0, "No zone is drawn: no report that stands names a take-over.")
    return " ".join(notes)


def _has_position(report: ReportOut) -> bool:
    observation = _observation(report)
    return observation is not None and bool(_positions(observation))


def _marks(report: ReportOut, zone: ZoneRule) -> list[ZoneMark]:
    observation = _observation(report)
    if observation is None:
        return []
    concerned = CONCERNED.get(Infringement(observation.seen), Mark.ZONE_START)
    return [
        ZoneMark(
            label=label,
            metres=metres_along(position, concerned, zone),
            uncertainty=position.uncertainty,
            note=f"seen by {report.official_name}",
        )
        for label, position in _positions(observation)
    ]


def _positions(observation: Observation) -> list[tuple[str, Position]]:
    found = [(label, getattr(observation, aspect, None)) for aspect, label in ASPECTS.items()]
    return [(label, position) for label, position in found if position is not None]


def _observation(report: ReportOut) -> Observation | None:
    if report.observation is None:
        return None
    return OBSERVATIONS.validate_python(report.observation)


def report_on_form(report: ReportOut, returns: Sequence[Return], zone: str) -> ReportOnForm:
    """What was seen, when by whose clock, and what the rule book makes of it, in words."""
    finding, observation = report.finding, _observation(report)
    kind = Infringement(observation.seen) if observation else None
    return ReportOnForm(
        observer=report.official_name,
        post=report.post_words,
        seen=title_of(kind) if kind else _without_account(report),
        observed=tell(observation) if observation else "",
        words=report.words,
        written_at=_written_at(report, zone),
        received_at=at_the_meet(report.received_at or report.raised_at, zone),
        clock_note=_clock_note(report, zone),
        finding=finding.outcome.value if finding else "",
        finding_reason=finding.reason if finding else "",
        rule=finding.rule if finding else "",
        marks_note=_marks_note(report),
        attested=_attested(report, zone),
        strength=report.attested.strength,
        statement_sha256=report.attested.statement_sha256 or "",
        revoked_from=_revoked_from(report.attested),
        returns=tuple(_return_on_form(one, zone) for one in returns),
        pictures=_pictures(report),
    )


def _without_account(report: ReportOut) -> str:
    """Why nothing stands there: a flag alone and what was taken back have no account, all others
    had one.
    """
    if report.state in {ReportState.RAISED, ReportState.WITHDRAWN}:
        return "yellow flag; no written account before the ruling"
    return "its written account was erased"


BY_PHONE = "by the phone's own key"
BY_SERVER = "by the server"


def _attested(report: ReportOut, zone: str) -> str:
    """Who answers for an account; empty where none was written."""
    if not report.received_at:
        return ""
    if report.attested.strength == "server":
        return BY_SERVER
    return (
        f"{BY_PHONE}, with which it was signed at the moment of writing"
        f"{revoked_on_form(report.attested, zone)}"
    )


def revoked_on_form(attested: AttestedOut, zone: str) -> str:
    """That the phone's key was revoked from before the account came, to be added to how it is
    attested; empty where it was not.
    """
    since = attested.key_revoked_from
    return "" if since is None else f"; {revoked_in_words(since, zone)}"


def _revoked_from(attested: AttestedOut) -> str:
    return "" if attested.key_revoked_from is None else rfc3339(attested.key_revoked_from)


def _pictures(report: ReportOut) -> str:
    """How many had come, and with what the digest of each one's file begins; empty for none."""
    begin = [one.sha256[:BEGINNING] for one in report.pictures]
    return f"{len(begin)}; SHA-256 begins with {', '.join(begin)}" if begin else ""


def reporters(reports: Sequence[ReportOut]) -> list[InkField]:
    """A line for ink for each official whose reports stand, with their numbers on the form."""
    numbers: defaultdict[OfficialId, list[str]] = defaultdict(list)
    names: dict[OfficialId, str] = {}
    for number, report in enumerate(reports, 1):
        if stands(report):
            numbers[report.official].append(str(number))
            names[report.official] = report.official_name
    return [InkField(_name_reports(numbers[one]), name) for one, name in names.items()]


def _name_reports(numbers: Sequence[str]) -> str:
    *others, last = numbers
    return f"Reports {', '.join(others)} and {last}" if others else f"Report {last}"


def _return_on_form(one: Return, zone: str) -> ReturnOnForm:
    became = BECAME[one.became]
    if one.became_at is not None:
        became = f"{became} {at_the_meet(one.became_at, zone)}"
    return ReturnOnForm(at=at_the_meet(one.at, zone), by=one.by, asked=one.asked, became=became)


def _marks_note(report: ReportOut) -> str:
    notes = [mark.value for mark in report.marks]
    if report.state is ReportState.WITHDRAWN:
        notes.append(f"withdrawn: {report.remark}")
    return "; ".join(notes)


def _written_at(report: ReportOut, zone: str) -> str:
    """When it was written by the server's clock, as far as the phone's was compared with it."""
    if report.clock is None:
        return ""
    return at_the_meet(report.clock.by_the_server(), zone)


def _clock_note(report: ReportOut, zone: str) -> str:
    """What the phone's own clock showed, and how far it was off."""
    clock = report.clock
    if clock is None:
        return ""
    if clock.offset_ms is None:
        return "by the phone's clock, which was not compared with the server's"
    day, shown = at_the_meet(clock.by_the_server(), zone)[:10], at_the_meet(clock.at, zone)
    by = f"{abs(clock.offset_ms) / 1000:.2f} s"
    if clock.error_ms is not None:
        # Rounded up: an error is not told smaller than it was measured.
        by += f" ±{math.ceil(clock.error_ms / 10) / 100:.2f} s"
    side = "behind" if clock.offset_ms > 0 else "ahead of"
    return f"the phone showed {shown.removeprefix(day).strip()}, {side} the server by {by}"

"""What does a ruling put on the result, and on which earlier rulings does that rest?

A confirmed infringement disqualifies with its rule, save for lane infringements that the edition
tolerates: those are noted as L and counted per team (World Athletics TR17.4 in the numbering of
2021, press accounts: the second, in the same or another round, disqualifies).
"""

from __future__ import annotations

from dataclasses import dataclass

from app.ids import HeatId, RulingId, TeamId
from app.meets.queries import MeetFacts, Running, who_runs
from app.refusals import Malformed, StateConflict
from app.reports.findings import judge_again
from app.reports.queries import Noted, noted_against
from app.reports.states import ReportState
from app.reports.wire import ReportOut
from app.rules.finding import Consequence, Outcome, consequence_of
from app.rules.observation import Infringement
from app.rulings.asked import reported_in, why_count_is_asked
from app.rulings.wire import RulingIn, Verdict
from app.store.action import Unit
from app.store.rows import AnyRow


@dataclass(frozen=True, slots=True)
class Effect:
    """What a ruling does: which infringement, by which rule, with which consequence.

    `separate` counts the lane infringements it adds, none where it is about another kind;
    `noted_before` counts those that stood against the team, and `rests_on` names the rulings whose
    notes made this one a disqualification.
    """

    infringement: Infringement | None
    rule: str | None
    consequence: Consequence
    separate: int = 0
    noted_before: int = 0
    rests_on: tuple[RulingId, ...] = ()


NOTHING = Effect(None, None, Consequence.NONE)


def effect_in_words(consequence: Consequence, rule: str | None) -> str:
    """What a ruling puts on the result (World Athletics CR25.4): "DQ TR24.7", "L", or neither."""
    match consequence:
        case Consequence.DISQUALIFICATION:
            return f"DQ {rule}"
        case Consequence.NOTED:
            return "L"
        case Consequence.NONE:
            return "no disqualification"


def effect_of(
    unit: Unit, case: AnyRow, meet: MeetFacts, sent: RulingIn, reports: list[ReportOut]
) -> Effect:
    """The effect of this ruling; refused where it leaves open what is confirmed."""
    if sent.verdict is Verdict.DISMISSED:
        return NOTHING
    if case.team_id is None:
        raise StateConflict(
            "This case has no team yet: ask the umpire for the lane, or dismiss the case."
        )
    if all(report.state is ReportState.WITHDRAWN for report in reports):
        raise StateConflict(
            "Every report of this case was withdrawn: dismiss it, or let somebody report again."
        )
    infringement = sent.infringement or _what_all_saw(reports)
    rule = meet.book.reference(infringement)
    running = who_runs(unit.conn, unit.meet_id, HeatId(case.heat_id), case.lane)
    if infringement is not Infringement.LANE_INFRINGEMENT:
        _insist_on_no_count(sent)
        found = _found_now(running, reports, infringement, 0)
        return Effect(infringement, rule, found or consequence_of(infringement, meet.book, 0))

    noted = noted_against(unit.conn, unit.meet_id, TeamId(case.team_id), HeatId(case.heat_id))
    separate = _separate(sent, meet, reports, noted)

    def after(earlier: int) -> Consequence:
        found = _found_now(running, reports, infringement, earlier)
        return found or consequence_of(infringement, meet.book, earlier)

    consequence = after(noted.count + separate - 1)
    without_notes = after(max(separate - 1, 0))
    rests_on = noted.by if consequence is not without_notes else ()
    return Effect(infringement, rule, consequence, separate, noted.count, rests_on)


def _insist_on_no_count(sent: RulingIn) -> None:
    if sent.separate is not None:
        raise Malformed(
            "Only lane infringements are counted; leave the number out.", field="/separate"
        )


def _separate(sent: RulingIn, meet: MeetFacts, reports: list[ReportOut], noted: Noted) -> int:
    """How many lane infringements this ruling adds; asked for where the reports leave it open.

    Two reports from one umpire, or from different take-overs, may tell of two. One that comes after
    a ruling in the same heat may tell of the very step that was noted: that adds none.
    """
    if sent.separate == 0 and not noted.in_this_heat:
        raise Malformed(
            "No lane infringement of this team has been noted in this heat that this could be: "
            "confirm at least one, or dismiss the case.",
            field="/separate",
        )
    if sent.separate is not None:
        return sent.separate
    why = why_count_is_asked(meet, reports, noted.in_this_heat)
    if why:
        raise Malformed(why, field="/separate")
    return 1


def _found_now(
    running: Running, reports: list[ReportOut], infringement: Infringement, earlier: int
) -> Consequence | None:
    """What the findings on this infringement lead to: the gravest, None where none says so.

    A lane infringement with ground gained disqualifies at once, and only the facts tell.
    """
    findings = [
        judge_again(running, report, earlier)
        for report in reports
        if report.observation is not None and report.state is not ReportState.WITHDRAWN
    ]
    consequences = {
        finding.consequence
        for finding in findings
        if finding.outcome is Outcome.INFRINGEMENT and finding.infringement is infringement
    }
    if Consequence.DISQUALIFICATION in consequences:
        return Consequence.DISQUALIFICATION
    return Consequence.NOTED if Consequence.NOTED in consequences else None


def _what_all_saw(reports: list[ReportOut]) -> Infringement:
    seen = reported_in(reports)
    if len(seen) != 1:
        why = "The reports name different infringements" if seen else "No report is written yet"
        raise Malformed(f"{why}: say which one is confirmed.", field="/infringement")
    return seen[0]

"""What does the file tell of a case: its reports with findings, zones and pictures, its rulings?

Read as it stands now. Of a report that was written again, what it said before is told from the
record; where that was erased, nothing is.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy import Connection

from app.access.pen import how_signed
from app.appeals.foreseeing import ruling_consequences
from app.appeals.paper_parts import moves_section
from app.casefiles.moving import moved_by, moved_on_file
from app.casefiles.posts import posts_on_file
from app.casefiles.queries import copy_of
from app.casefiles.scope import Scope
from app.casefiles.timeline import said_in
from app.clock import in_zone
from app.exporting.queries import Recorded
from app.forms.case_file import (
    CaseOnFile,
    DecisionOnFile,
    PictureOnPaper,
    ReportOnFile,
    Section,
    Verdict,
)
from app.forms.sheet_parts import Fact
from app.forms.signature_section import SHA256_OF_STATEMENT
from app.forms.zone_scale import ZonePicture
from app.ids import CaseId, HeatId, PictureId, ReportId, RulingId
from app.meets.queries import MeetFacts, heat
from app.pictures.wire import PictureOut
from app.record.kinds import Kind
from app.refusals import Refusal
from app.reports.findings import OBSERVATIONS
from app.reports.queries import case_row
from app.reports.states import CaseState
from app.reports.wire import CaseOut, ReportOut
from app.rounds.wire import ConsequencesOut
from app.rules.finding import title_of
from app.rules.observation import Infringement
from app.rulings.as_ruled import case_told
from app.rulings.observed import tell
from app.rulings.queries import (
    decided_on,
    disqualifications_of_ruling,
    ruling_in_words,
    ruling_out,
)
from app.rulings.reported import report_on_form, zone_note, zone_pictures
from app.rulings.returns import returns_of
from app.rulings.wire import RulingOut

ERASED_PICTURE = "This picture has been erased."


@dataclass(frozen=True, slots=True)
class Cases:
    """The cases of a file as they stand, and the number of each report in it."""

    out: tuple[CaseOut, ...]
    numbers: Mapping[ReportId, int]

    @property
    def reports(self) -> Mapping[ReportId, ReportOut]:
        """Each report once: one that has gone on from a case that was ruled on, as it is now, where
        the case that it lies in by now is in the file.
        """
        gone = {(one.report, case.id) for case in self.out for one in case.gone_on}
        every = [one for case in self.out for one in case.reports]
        # Those that are as they were come first, so that what is there now takes their place.
        every.sort(key=lambda one: (one.id, one.case) not in gone)
        return {one.id: one for one in every}

    @property
    def called(self) -> Mapping[str, str]:
        """What reports, their pictures and rulings are called, by their ids."""
        found: dict[str, str] = {}
        for case in self.out:
            found.update((ruling, f"Case {case.number}") for ruling in case.rulings)
        for one in self.reports.values():
            name = f"Report {self.numbers[one.id]}"
            found[one.id] = name
            found.update((picture.id, name) for picture in one.pictures)
        return found


def cases_in(conn: Connection, scope: Scope) -> Cases:
    """The cases of a file; their reports are numbered through."""
    out = tuple(case_told(conn, scope.meet, case_id) for case_id in scope.cases)
    numbered = dict.fromkeys(one.id for case in out for one in case.reports)
    return Cases(out, {ident: number for number, ident in enumerate(numbered, 1)})


def cases_on_file(
    conn: Connection, meet: MeetFacts, scope: Scope, cases: Cases, doubts: Mapping[str, str]
) -> tuple[CaseOnFile, ...]:
    """The cases in words, each with its reports and its rulings. `doubts` say of which signatures
    nobody can say whose they are, by what was signed.
    """
    return tuple(
        CaseOnFile(
            title=_title(out),
            sections=tuple(_sections(conn, meet, out)),
            reports=tuple(
                replace(one, doubt=doubts.get(report.id, ""))
                for report, one in zip(
                    out.reports, _reports(conn, meet, scope, out, cases), strict=True
                )
            ),
            posts=posts_on_file(conn, meet, out.id, cases.numbers),
            zones=_zones(conn, meet, out),
            zone_note=zone_note(out.reports) if out.reports else "",
            rulings=tuple(
                _ruling(conn, meet, RulingId(one), doubts.get(one, "")) for one in out.rulings
            ),
        )
        for out in cases.out
    )


def _reports(
    conn: Connection,
    meet: MeetFacts,
    scope: Scope,
    out: CaseOut,
    cases: Cases,
) -> Iterator[ReportOnFile]:
    returns = returns_of(conn, meet.id, [one.id for one in out.reports])
    for one in out.reports:
        number, is_last = cases.numbers[one.id], cases.reports[one.id].case == out.id
        yield ReportOnFile(
            report=report_on_form(one, returns.get(one.id, ()), meet.time_zone),
            number=number,
            earlier=tuple(_earlier(scope.entries, one)),
            pictures=tuple(_pictures(conn, meet, one, number)) if is_last else (),
        )


def _zones(conn: Connection, meet: MeetFacts, out: CaseOut) -> tuple[ZonePicture, ...]:
    """What all accounts say of where it was, drawn together as on the form of a ruling."""
    written = [one for one in out.reports if one.observation is not None]
    return zone_pictures(heat(conn, meet.id, HeatId(out.heat)).relay, written, meet.book)


def _title(out: CaseOut) -> str:
    lane = "lane not known" if out.lane is None else f"lane {out.lane}"
    return f"Case {out.number}: {out.team_name or 'team not known'}, {lane}"


def _sections(conn: Connection, meet: MeetFacts, out: CaseOut) -> Iterator[Section]:
    facts = [
        ("state", out.state.value),
        ("opened", in_zone(out.opened_at, meet.time_zone)),
        ("reports", str(len(out.reports))),
    ]
    facts += _other_cases(conn, meet, out)
    yield Section("The case", tuple(facts))
    if out.state is CaseState.OPEN and out.team is not None and out.reports:
        yield from _foreseen(conn, meet, out)


def _other_cases(conn: Connection, meet: MeetFacts, out: CaseOut) -> Iterator[tuple[str, str]]:
    """Where else to look, by the number of the case; nothing of what it tells."""

    def number(case: CaseId) -> int:
        return int(case_row(conn, meet.id, case).number)

    if out.further_of is not None:
        yield "further case", f"a report came after the ruling on case {number(out.further_of)}"
    if out.joined_to is not None:
        yield "joined", f"its reports have moved to case {number(out.joined_to)}"
    for other in dict.fromkeys(one.case for one in out.gone_on):
        yield (
            "gone on",
            f"a report that lay here at the ruling was written again since: case {number(other)}",
        )


def _foreseen(conn: Connection, meet: MeetFacts, out: CaseOut) -> Iterator[Section]:
    """What a ruling would move; nothing where that cannot be said now."""
    try:
        told = ruling_consequences(conn, meet.id, out.id)
    except Refusal:
        return
    confirmed = moves_section("What it would move if it is confirmed", told.if_confirmed)
    yield Section(confirmed.title, paragraphs=(told.note,), items=confirmed.items)


def _earlier(entries: Sequence[Recorded], report: ReportOut) -> Iterator[Section]:
    """What a report said before it was written again, entry by entry."""
    written = [
        one
        for one in entries
        if one.kind is Kind.REPORT_WRITTEN and one.subject == report.id and one.text is not None
    ]
    told = [place for place, one in enumerate(written) if _made_at(one) == report.received_at]
    for one in written[: told[-1] if told else 0]:
        body = said_in(one.body)
        observation = body.get("observation")
        facts = [("in the observer's words", str(body.get("words") or ""))]
        if observation:
            seen_then = OBSERVATIONS.validate_python(observation)
            seen = title_of(Infringement(seen_then.seen))
            facts = [("seen", seen), ("observed", tell(seen_then)), *facts]
        title = f"What this report said before (entry {one.seq})"
        yield Section(title, tuple(fact for fact in facts if fact[1]))


def _made_at(one: Recorded) -> datetime:
    return datetime.fromisoformat(json.loads(one.entry)["at"])


def _pictures(
    conn: Connection, meet: MeetFacts, report: ReportOut, number: int
) -> Iterator[PictureOnPaper]:
    for place, one in enumerate(report.pictures, 1):
        yield PictureOnPaper(
            name=f"Picture {place} of report {number}",
            told=_about_picture(one, meet.time_zone),
            jpeg=copy_of(conn, PictureId(one.id)),
            width=one.width,
            height=one.height,
            why_not=ERASED_PICTURE,
        )


def _about_picture(one: PictureOut, zone: str) -> tuple[tuple[str, str], ...]:
    return (
        ("received", in_zone(one.received_at, zone)),
        ("from", one.official_name),
        ("SHA-256 of the file as it came", one.sha256),
    )


def _ruling(conn: Connection, meet: MeetFacts, ruling_id: RulingId, doubt: str) -> DecisionOnFile:
    out = ruling_out(conn, meet.id, ruling_id)
    verdict = Verdict(
        label="ruling",
        words=out.verdict.value,
        effect=out.effect,
        grounds=(
            Fact("infringement", out.infringement_title or "", "infringement"),
            Fact("rule", out.rule or "", "rule of the ruling"),
            Fact("ruled", in_zone(out.ruled_at, meet.time_zone), "time of the ruling"),
            Fact("by", out.official_name, "head official"),
        ),
        reasons=out.reasons,
        note=_counted(conn, meet, out),
        later=_later(conn, meet, out),
        marks=(doubt,) if doubt else (),
    )
    told = moved_by(conn, meet, out)
    return DecisionOnFile(
        f"Ruling on case {out.case_number}",
        verdict,
        (*_moves(told), _on_result(conn, meet, out)),
        moved=() if told is None else moved_on_file(conn, meet, out, told),
    )


def _moves(told: ConsequencesOut | None) -> Iterator[Section]:
    if told is not None:
        yield moves_section("What this ruling moves", told)
        if told.too_late:
            yield Section("What it can no longer change", items=tuple(told.too_late))


def _counted(conn: Connection, meet: MeetFacts, out: RulingOut) -> str:
    """The earlier rulings that this one counts, or takes the place of: as on its form."""
    said = []
    if (out.separate or 0) > 1:
        said.append(f"{out.separate} separate lane infringements are confirmed.")
    if out.rests_on:
        before = [ruling_in_words(conn, meet.id, one, meet.time_zone) for one in out.rests_on]
        said.append(f"The team was noted with L before, by {', and by '.join(before)}.")
    if out.reconsiders is not None:
        replaced = ruling_in_words(conn, meet.id, out.reconsiders, meet.time_zone)
        said.append(f"It replaces {replaced}.")
    return " ".join(said)


def _later(conn: Connection, meet: MeetFacts, out: RulingOut) -> str:
    if out.replaced_by is not None:
        return "This ruling was reconsidered and no longer stands."
    decided = decided_on(conn, out.id)
    return "" if decided is None else decided.words(meet.time_zone)


def _on_result(conn: Connection, meet: MeetFacts, out: RulingOut) -> Section:
    """What the ruling did to the result, and what was signed."""
    facts = [
        ("disqualification", f"{one.rule}: {one.state.value}, {in_zone(one.since, meet.time_zone)}")
        for one in disqualifications_of_ruling(conn, meet.id, out.id)
    ]
    if out.is_shaken:
        facts.append(("to be looked at again", "what it rests on has changed since"))
    facts.append(("signed", how_signed(conn, meet.id, "ruling", out.id, meet.time_zone)))
    facts.append((SHA256_OF_STATEMENT, out.statement_digest))
    return Section("", tuple(facts))

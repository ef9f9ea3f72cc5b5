"""What does a case file tell? Gathered at one moment, so that all of it agrees.

Texts that were erased are empty, and the file is drawn all the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from app.appeals.queries import appeal_row, protest_out, protest_row
from app.appeals.ran_elsewhere import ran_elsewhere
from app.appeals.showing import appeal_shown, protest_shown
from app.appeals.what_stands import what_stands
from app.casefiles.doubts import doubts_about
from app.casefiles.hashing import hashes_of
from app.casefiles.scope import Asked, Of, Scope, scope_of
from app.casefiles.timeline import moments_of
from app.casefiles.told_cases import Cases, cases_in, cases_on_file
from app.casefiles.told_remedies import remedies_on_file
from app.clock import at_the_meet, in_zone
from app.forms.case_file import CaseFile, Section, WindowOnFile
from app.forms.sheet_head import TeamHead
from app.ids import AppealId, HeatId, ProtestId, RulingId, TeamId
from app.meets.queries import MeetFacts, heat, meet_facts
from app.meets.wire import HeatOut
from app.record.log import Head
from app.record.queries import head_of
from app.reports.queries import case_row
from app.reports.wire import CaseOut
from app.results.windows import windows_of_heat
from app.results.wire import WindowOut
from app.rulings.form import bib_of
from app.rulings.queries import decided_on, ruling_out

UNTIL = {
    "open": "open until {at}",
    "closed": "closed since {at}",
    "to come": "to come, until {at}",
    "void": "void (would have run until {at})",
}
CONFIDENCE = "In confidence: for the head official and the jury."
NOTICE = (
    "In confidence: it tells what was reported, word for word. It is given to the head official "
    "and the jury, and whoever else is to have it gets it from them. Nothing of any other case is "
    "in it; rulings and decisions name the teams that they move.",
    "It is sealed as a whole with the meet's seal. It is not kept by the server and has no entry "
    "of its own in the record: it was drawn up, when it was asked for, from what stands there.",
)


@dataclass(frozen=True, slots=True)
class Gathered:
    """What a file tells, what belongs to it, and the record's head at that moment."""

    file: CaseFile
    scope: Scope
    meet: MeetFacts
    head: Head


def gather(conn: Connection, asked: Asked, now: datetime, fingerprint: str) -> Gathered:
    """All of it; NotFound for an id that is not of this meet. `fingerprint` is that of the
    certificate which will seal the file.
    """
    meet = meet_facts(conn, asked.meet)
    scope = scope_of(conn, asked)
    cases = cases_in(conn, scope)
    head = _team_head(conn, meet, scope, now)
    windows = _windows(conn, scope, now)
    called = _called(conn, scope, cases)
    doubts = doubts_about(conn, meet, scope, cases, called)
    file = CaseFile(
        **{name: getattr(head, name) for name in TeamHead.__dataclass_fields__},
        name=scope.name,
        drawn_at=in_zone(now, meet.time_zone),
        confidence=CONFIDENCE,
        doubts=tuple(doubts.values()),
        about=(_about(conn, meet, scope, cases),),
        stands=(_stands(conn, meet, scope, cases, windows, now),),
        notice=Section("Who may read it, and what it is", paragraphs=NOTICE),
        moments=moments_of(conn, meet, scope, called),
        cases=cases_on_file(conn, meet, scope, cases, doubts),
        remedies=remedies_on_file(conn, meet, scope, doubts, now),
        windows=tuple(_window(one, meet.time_zone) for one in windows),
        hashes=hashes_of(meet, scope, cases, fingerprint),
    )
    return Gathered(file, scope, meet, head_of(conn, meet.id))


def _team_head(conn: Connection, meet: MeetFacts, scope: Scope, now: datetime) -> TeamHead:
    run = heat(conn, meet.id, scope.heat)
    team = _team(conn, meet, scope, run)
    return TeamHead(
        meet=meet.name,
        place=meet.venue,
        date=in_zone(now, meet.time_zone)[:10],
        time_zone=meet.time_zone,
        edition=f"{meet.book.title}, {meet.book.edition}",
        event=run.event_name,
        round=run.round,
        heat=str(run.number),
        lane=team.lane,
        team=team.name,
        affiliation=team.affiliation,
        bib=team.bib,
    )


@dataclass(frozen=True, slots=True)
class _Team:
    name: str
    affiliation: str
    lane: str
    bib: str


def _team(conn: Connection, meet: MeetFacts, scope: Scope, run: HeatOut) -> _Team:
    """Whose file it is: the case's team, or who protests or appeals."""
    asked = scope.asked
    if asked.of is Of.CASE:
        row = case_row(conn, meet.id, scope.cases[0])
        lane = "" if row.lane is None else str(row.lane)
        name = row.team_name or "not known"
        return _Team(name, row.affiliation or "", lane, bib_of(run, scope.team))
    by = (
        protest_row(conn, meet.id, ProtestId(asked.ident))
        if asked.of is Of.PROTEST
        else appeal_row(conn, meet.id, AppealId(asked.ident))
    )
    here = next((line for line in run.lanes if line.team == by.team_id), None)
    if here is not None:
        return _Team(by.team_name, by.affiliation, str(here.lane), here.bib)
    ran = ran_elsewhere(conn, meet.id, HeatId(run.id), TeamId(by.team_id))
    lane, bib = ("", "") if ran is None else (f"{ran.lane} in {ran.heat}", ran.bib)
    return _Team(by.team_name, by.affiliation, lane, bib)


def _called(conn: Connection, scope: Scope, cases: Cases) -> Mapping[str, str]:
    """What the subjects of entries are called on paper."""
    protests = (protest_row(conn, scope.meet, one) for one in scope.protests)
    appeals = (appeal_row(conn, scope.meet, one) for one in scope.appeals)
    return {
        **cases.called,
        **{row.id: f"Protest {row.number}" for row in protests},
        **{row.id: f"Appeal {row.number}" for row in appeals},
    }


def _about(conn: Connection, meet: MeetFacts, scope: Scope, cases: Cases) -> Section:
    run = heat(conn, meet.id, scope.heat)
    protests = [protest_row(conn, meet.id, one) for one in scope.protests]
    appeals = [appeal_row(conn, meet.id, one) for one in scope.appeals]
    holds = [
        *(f"case {one.number}" for one in cases.out),
        *(f"protest {row.number} of {row.team_name}" for row in protests),
        *(f"appeal {row.number} of {row.team_name}" for row in appeals),
    ]
    pictures = sum(len(one.pictures) for one in cases.reports.values())
    facts = [("it holds", "; ".join(holds))]
    if run.started_at is not None:
        facts.append(("heat started", in_zone(run.started_at, meet.time_zone)))
    facts.append(("reports", str(len(cases.numbers))))
    facts.append(("pictures", str(pictures)))
    return Section("What this file is about", tuple(facts))


def _stands(
    conn: Connection,
    meet: MeetFacts,
    scope: Scope,
    cases: Cases,
    windows: list[WindowOut],
    now: datetime,
) -> Section:
    """The last word on each part, what became of deposits, and which windows are open."""
    facts = [(f"case {one.number}", _case_stands(conn, meet, one)) for one in cases.out]
    for ident in scope.protests:
        protest = protest_shown(conn, meet.id, ident, now)
        stands = what_stands(conn, meet, protest_out(conn, meet.id, ident))
        said = stands.verdict or protest.state.value
        by = ", ".join(value for _label, value in stands.grounds)
        facts.append((f"protest {protest.number}", f"{said} ({by})" if by else said))
        facts += [("", words) for words in protest.awaits or ()]
    for appeal_id in scope.appeals:
        appeal = appeal_shown(conn, meet.id, appeal_id, now)
        decided = appeal.decision
        at = f" ({decided.decided_at_local})" if decided is not None else ""
        facts.append((f"appeal {appeal.number}", f"{appeal.state.value}{at}"))
        facts += [("", words) for words in appeal.awaits]
        facts.append((f"deposit of appeal {appeal.number}", appeal.deposit.outcome))
    facts += [(f"window for {one.kind}", _window_stands(one)) for one in windows]
    return Section("Where it stands now", tuple(facts))


def _case_stands(conn: Connection, meet: MeetFacts, out: CaseOut) -> str:
    if not out.rulings:
        return f"{out.state.value}: not ruled on"
    ruling = ruling_out(conn, meet.id, RulingId(out.rulings[-1]))
    later = decided_on(conn, ruling.id)
    since = f" {later.words(meet.time_zone)}" if later is not None else ""
    at = in_zone(ruling.ruled_at, meet.time_zone)
    return f"{ruling.verdict.value}, {ruling.effect}, {at}.{since}"


def _windows(conn: Connection, scope: Scope, now: datetime) -> list[WindowOut]:
    """The windows of the heat, but for those that a decision on another protest opened."""
    found = windows_of_heat(conn, scope.meet, scope.heat, now)
    return [one for one in found if one.decision is None or one.decision in scope.decisions]


def _window_stands(one: WindowOut) -> str:
    at = one.closes_at_local
    ends = UNTIL[one.state].format(at=at) if at else f"{one.state}, no closing time"
    return f"{ends} (opened by {one.opened_by}; {one.rule})"


def _window(one: WindowOut, zone: str) -> WindowOnFile:
    return WindowOnFile(
        remedy=one.kind,
        opened_by=one.opened_by,
        opened=at_the_meet(one.opened_at, zone),
        closes=at_the_meet(one.closes_at, zone) if one.closes_at else "no closing time known",
        rule=one.rule,
        now=" ".join(_window_now(one)),
    )


def _window_now(one: WindowOut) -> Iterator[str]:
    yield one.state
    if one.team_name:
        yield f"(for {one.team_name} alone)"
    if one.does_not_count:
        yield one.does_not_count

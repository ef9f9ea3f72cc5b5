"""What is done with reports: written, asked back, written again, withdrawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, update

from app.access.queries import Caller
from app.ids import CaseId, HeatId, PostId, ReportId
from app.meets.queries import Running
from app.record.kinds import Kind
from app.refusals import IdTaken, NotFound, NotYours, PreconditionMissing, Stale, StateConflict
from app.reports.arriving import Arriving, arriving, is_early, marks_on, post_words, run_of
from app.reports.findings import as_stored, judge_report
from app.reports.grouping import Place, case_for, insist_on_measure, move_report, touch_case_of
from app.reports.queries import case_row, noted_against, possible_for, report_from, report_out
from app.reports.sendings import ADD_REPORT, REPORT_BY_ID, insist_same, said
from app.reports.states import OF_TIME, REPORT_TABLE, CaseState, ReportAct, ReportState
from app.reports.tables import reports
from app.reports.wire import ReportIn, ReportOut
from app.rules.observation import LaneInfringement
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow

HOW_TO_CORRECT = (
    "To correct it, ask the head official to return it to you, or withdraw it and write another "
    "under a new id."
)

_WRITE_REPORT = Prepared(
    update(reports)
    .where(reports.c.id == bindparam("report"))
    .values(
        {
            name: bindparam(f"new_{name}")
            for name in (
                "heat_id",
                "case_id",
                "post_id",
                "post_words",
                "run",
                "take_over",
                "lane",
                "team_id",
                "state",
                "observation",
                "words",
                "marks",
                "finding",
                "clock",
                "received_at",
                "content",
            )
        }
        | {"version": reports.c.version + 1}
    )
)


def write_report(
    report_id: ReportId, sent: ReportIn, caller: Caller, version: int | None
) -> Action[Put[ReportOut]]:
    """The facts of a report: new, after its flag, or again after it was returned.

    The same content again is the same report. A returned report is a change and names the version
    it changes; a report that was only raised holds nothing that could be overwritten.
    """
    document, content = said(sent)

    def act(unit: Unit) -> Done[Put[ReportOut]]:
        known = REPORT_BY_ID.first(unit.conn, {"report": report_id})
        if known is not None and known.content == content and not _stands_by(known, version):
            insist_same(known, unit, caller, content, "a report")
            return Done(Put(report_out(unit.conn, unit.meet_id, report_id), created=False), None)
        if known is not None:
            _insist_writable(known, unit, caller, version)
        post_id = PostId(sent.post) if sent.post else None
        here = arriving(unit, HeatId(sent.heat), sent.lane, post_id, caller.official_id)
        facts = _judge_and_place(unit, report_id, sent, known, here)
        facts |= {
            "observation": document["observation"],
            "clock": document["clock"],
            "content": content,
        }
        deed = Deed(Kind.REPORT_WRITTEN, report_id, _written(sent, facts))
        if known is None or known.case_id != facts["case_id"]:
            insist_on_measure(unit, facts["case_id"], caller.official_id)
        if known is None:
            stored = facts | _first_facts(unit, report_id, caller)
            ADD_REPORT.run(unit.conn, stored)
            out = report_from(stored, caller.name, here.running.team_name)
            return Done(Put(out, created=True), deed)
        _WRITE_REPORT.run(
            unit.conn,
            {"report": report_id} | {f"new_{name}": value for name, value in facts.items()},
        )
        out = report_out(unit.conn, unit.meet_id, report_id)
        return Done(Put(out, created=known.content is None), deed)

    return act


def _stands_by(known: AnyRow, version: int | None) -> bool:
    """Whether an umpire who was asked back answers with the same account, and no phone repeats."""
    return bool(known.state == ReportState.RETURNED and version == known.version)


def _noted_before(unit: Unit, sent: ReportIn, running: Running) -> int:
    """The lane infringements noted against the team, where the report is about one."""
    if running.team_id is None or not isinstance(sent.observation, LaneInfringement):
        return 0
    return noted_against(unit.conn, unit.meet_id, running.team_id, HeatId(sent.heat)).count


def _judge_and_place(
    unit: Unit,
    report_id: ReportId,
    sent: ReportIn,
    known: AnyRow | None,
    here: Arriving,
) -> dict[str, Any]:
    running, place = _as_it_was(known, sent, here.running), here.post
    take_over = place.take_over if place else sent.take_over
    finding = judge_report(running, take_over, sent.observation, _noted_before(unit, sent, running))
    about = Place(HeatId(sent.heat), sent.lane, running.team_id)
    case_id = (
        case_for(unit, about)
        if known is None
        else move_report(unit, report_id, CaseId(known.case_id), about)
    )
    return {
        "heat_id": sent.heat,
        "case_id": case_id,
        "post_id": sent.post,
        "post_words": post_words(place, take_over),
        # Written late or again, it is still about the run in which its flag was shown.
        "run": known.run if known and known.heat_id == sent.heat else run_of(running),
        "take_over": take_over,
        "lane": sent.lane,
        "team_id": running.team_id,
        "state": ReportState.WRITTEN.value,
        "words": sent.words,
        "marks": _marks(known, sent, here),
        "finding": as_stored(finding),
        "received_at": unit.now,
    }


def _as_it_was(known: AnyRow | None, sent: ReportIn, running: Running) -> Running:
    """Who runs in the lane; for a flag of an earlier start whoever ran there then."""
    if (
        known is not None
        and known.run is not None
        and (known.heat_id, known.lane) == (sent.heat, sent.lane)
        and known.run != run_of(running)
    ):
        return replace(running, team_id=known.team_id)
    return running


def _marks(known: AnyRow | None, sent: ReportIn, here: Arriving) -> list[str]:
    """A report under a flag has the flag's marks of time: it is about what was seen then."""
    found = marks_on(here, sent.lane, early=is_early(sent.clock, here.running))
    if known is None or known.heat_id != sent.heat:
        return found
    return [
        *(mark for mark in known.marks if mark in OF_TIME),
        *(mark for mark in found if mark not in OF_TIME),
    ]


def _first_facts(unit: Unit, report_id: ReportId, caller: Caller) -> dict[str, Any]:
    return {
        "id": report_id,
        "meet_id": unit.meet_id,
        "official_id": caller.official_id,
        "raised_at": unit.now,
        "remark": None,
        "version": 1,
    }


def _written(sent: ReportIn, facts: Mapping[str, Any]) -> dict[str, Any]:
    """What the record keeps of a written report: all that was sent, and what followed from it."""
    return {
        "case": facts["case_id"],
        "clock": facts["clock"],
        "finding": facts["finding"],
        "heat": sent.heat,
        "lane": sent.lane,
        "marks": facts["marks"],
        "observation": facts["observation"],
        "post": sent.post,
        "post_words": facts["post_words"],
        "run": facts["run"],
        "take_over": facts["take_over"],
        "team": facts["team_id"],
        "words": sent.words,
    }


def _insist_writable(known: AnyRow, unit: Unit, caller: Caller, version: int | None) -> None:
    if known.meet_id != unit.meet_id or known.official_id != caller.official_id:
        raise IdTaken("a report", known.id)
    state = ReportState(known.state)
    if version is None and state is ReportState.WRITTEN:
        raise IdTaken("a written report", known.id, HOW_TO_CORRECT)
    if version is None and state not in {ReportState.RAISED, ReportState.RETURNED}:
        raise IdTaken("a report", known.id)
    how = HOW_TO_CORRECT if state is ReportState.WRITTEN else ""
    REPORT_TABLE.step(state, ReportAct.WRITE, how)
    if state is ReportState.RAISED and version is None:
        return
    if version is None:
        raise PreconditionMissing(
            "This report was returned to you: send If-Match with its ETag to write it again."
        )
    if version != known.version:
        raise Stale("This report was changed meanwhile. Read it again, then write.")


def return_report(report_id: ReportId, reason: str, version: int) -> Action[ReportOut]:
    """The head official asks the umpire back: something is missing or unclear."""

    def act(unit: Unit) -> Done[ReportOut]:
        known = _report_of_meet(unit, report_id)
        _step(known, ReportAct.RETURN, version)
        _set_state(unit, report_id, ReportState.RETURNED, reason)
        out = report_out(unit.conn, unit.meet_id, report_id)
        return Done(out, Deed(Kind.REPORT_RETURNED, report_id, {"reason": reason}))

    return act


def withdraw_report(
    report_id: ReportId, reason: str, caller: Caller, version: int
) -> Action[ReportOut]:
    """Its umpire takes a report back before a ruling, with a reason. It stays on the case."""

    def act(unit: Unit) -> Done[ReportOut]:
        known = _report_of_meet(unit, report_id)
        if known.official_id != caller.official_id:
            raise NotYours("Only the umpire who wrote a report can withdraw it.")
        _step(known, ReportAct.WITHDRAW, version)
        _insist_not_ruled(unit, known)
        _set_state(unit, report_id, ReportState.WITHDRAWN, reason)
        out = report_out(unit.conn, unit.meet_id, report_id)
        return Done(out, Deed(Kind.REPORT_WITHDRAWN, report_id, {"reason": reason}))

    return act


def _insist_not_ruled(unit: Unit, known: AnyRow) -> None:
    """A ruling rests on what lay before it: an account in its case is no longer taken back."""
    case = case_row(unit.conn, unit.meet_id, CaseId(known.case_id))
    possible = possible_for(ReportState(known.state), CaseState(case.state))
    if ReportAct.WITHDRAW not in possible:
        raise StateConflict(
            "The case of this report has been ruled on, so it can no longer be withdrawn. "
            "Tell the head official, who can reconsider the ruling."
        )


def _report_of_meet(unit: Unit, report_id: ReportId) -> AnyRow:
    known: AnyRow | None = REPORT_BY_ID.first(unit.conn, {"report": report_id})
    if known is None or known.meet_id != unit.meet_id:
        raise NotFound("There is no such report at this meet.")
    return known


def _step(known: AnyRow, what: ReportAct, version: int) -> None:
    REPORT_TABLE.step(ReportState(known.state), what)
    if known.version != version:
        raise Stale("This report was changed meanwhile. Read it again, then decide.")


def _set_state(unit: Unit, report_id: ReportId, state: ReportState, remark: str) -> None:
    """Store the new state; the case's version moves too, since what it says has changed."""
    unit.conn.execute(
        update(reports)
        .where(reports.c.id == report_id)
        .values(state=state.value, remark=remark, version=reports.c.version + 1)
    )
    touch_case_of(unit, report_id)

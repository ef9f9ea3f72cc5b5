"""What is done with flags and reports."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from pydantic_core import to_json
from sqlalchemy import bindparam, insert, select, update

from app.access.queries import Caller
from app.crew.queries import Post, expected_posts
from app.ids import CallId, CaseId, HeatId, PostId, ReportId, new_id
from app.meets.actions import set_heat_state
from app.meets.queries import Running, heat
from app.meets.states import HEAT_TABLE, HeatAct, HeatState
from app.record.kinds import Kind
from app.refusals import IdTaken, NotFound, NotYours, PreconditionMissing, Stale, StateConflict
from app.reports.arriving import Arriving, arriving
from app.reports.findings import as_stored, judge_report
from app.reports.grouping import Place, case_for, move_report, touch_case_of
from app.reports.queries import (
    call_out,
    called_posts,
    case_row,
    noted_against,
    report_from,
    report_out,
)
from app.reports.states import REPORT_TABLE, CaseState, Mark, ReportAct, ReportState
from app.reports.tables import calls, reports
from app.reports.wire import CallIn, CallOut, Flag, ReportIn, ReportOut
from app.roles import Role
from app.rules.observation import LaneInfringement
from app.store.action import Action, Deed, Done, Put, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow
from app.wire import PhoneClock, Wire

NOT_RUNNING = frozenset({HeatState.TO_COME, HeatState.ANNOUNCED, HeatState.FINAL})

_CALL = Prepared(select(calls).where(calls.c.id == bindparam("call")))
_REPORT = Prepared(select(reports).where(reports.c.id == bindparam("report")))
_FLAG_OF = Prepared(select(calls.c.id).where(calls.c.report_id == bindparam("report")).limit(1))
_ADD_CALL = Prepared(insert(calls))
_ADD_REPORT = Prepared(insert(reports))
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


def show_flag(call_id: CallId, sent: CallIn, caller: Caller) -> Action[Put[CallOut]]:
    """A post shows white or yellow. Yellow raises a report and opens (or joins) a case at once."""
    said, content = _said(sent)

    def act(unit: Unit) -> Done[Put[CallOut]]:
        known = _CALL.first(unit.conn, {"call": call_id})
        if known is not None:
            _insist_same(known, unit, caller, content, "a call")
            return Done(Put(call_out(unit.conn, unit.meet_id, call_id), created=False), None)
        here = arriving(unit, HeatId(sent.heat), sent.lane, PostId(sent.post), caller.official_id)
        running = here.running
        early = _is_early(sent.clock, running)
        run = _speaks_in(here, caller, early=early)
        marks = _marks(here, sent.lane, early=early)
        report_id, case_id = None, None
        if sent.flag is Flag.YELLOW:
            report_id, case_id = _raise_report(unit, sent, caller, here, marks)
        _ADD_CALL.run(
            unit.conn,
            {
                "id": call_id,
                "meet_id": unit.meet_id,
                "heat_id": sent.heat,
                "post_id": sent.post,
                "official_id": caller.official_id,
                "flag": sent.flag.value,
                "lane": sent.lane,
                "run": run,
                "report_id": report_id,
                "clock": said["clock"],
                "marks": marks,
                "received_at": unit.now,
                "content": content,
            },
        )
        judged = _note_if_judged(unit, HeatId(sent.heat), running)
        facts = {
            **said,
            "report": report_id,
            "case": case_id,
            "marks": marks,
            "run": run,
            "judged": judged,
        }
        out = call_out(unit.conn, unit.meet_id, call_id)
        return Done(Put(out, created=True), Deed(Kind.CALL, call_id, facts))

    return act


def _raise_report(
    unit: Unit, sent: CallIn, caller: Caller, here: Arriving, marks: list[str]
) -> tuple[ReportId, CaseId]:
    running, place = here.running, here.post
    report_id = ReportId(sent.report or new_id())
    known = _REPORT.first(unit.conn, {"report": report_id})
    if known is not None:
        if known.meet_id != unit.meet_id or known.official_id != caller.official_id:
            raise IdTaken("a report", report_id)
        if _is_flag_of(unit, known, sent):
            # The written report overtook its flag on a bad line: it stands, the flag joins it.
            return report_id, known.case_id
        # A phone that names another report by mistake: this flag is one more, never lost.
        report_id = ReportId(new_id())
    case_id = case_for(unit, Place(HeatId(sent.heat), sent.lane, running.team_id))
    _ADD_REPORT.run(
        unit.conn,
        {
            "id": report_id,
            "meet_id": unit.meet_id,
            "heat_id": sent.heat,
            "case_id": case_id,
            "official_id": caller.official_id,
            "post_id": sent.post,
            "post_words": _post_words(place, None),
            "run": _run_of(running),
            "take_over": place.take_over if place else None,
            "lane": sent.lane,
            "team_id": running.team_id,
            "state": ReportState.RAISED.value,
            "observation": None,
            "words": "",
            "marks": marks,
            "finding": None,
            "clock": None,
            "raised_at": unit.now,
            "received_at": None,
            "content": None,
            "remark": None,
            "version": 1,
        },
    )
    return report_id, case_id


def _is_flag_of(unit: Unit, known: AnyRow, sent: CallIn) -> bool:
    """Whether this is the flag of a report that came before it: same place, and no flag yet."""
    same_lane = sent.lane is None or sent.lane == known.lane
    same_place = (known.heat_id, known.post_id) == (sent.heat, sent.post)
    return same_place and same_lane and _FLAG_OF.first(unit.conn, {"report": known.id}) is None


def _note_if_judged(unit: Unit, heat_id: HeatId, running: Running) -> bool:
    """Whether this call was the last one the heat waited for."""
    if running.state is not HeatState.RUNNING:
        return False
    expected = expected_posts(unit.conn, unit.meet_id, heat(unit.conn, unit.meet_id, heat_id))
    silent = {place.id for place in expected} - called_posts(unit.conn, heat_id).keys()
    if silent or not expected:
        return False
    step = HEAT_TABLE.step(running.state, HeatAct.LAST_POST_CALLS)
    set_heat_state(unit, heat_id, step.becomes)
    return True


def _speaks_in(here: Arriving, caller: Caller, *, early: bool) -> int | None:
    """The run of the heat for which this call speaks for its post, None where it does not.

    A flag shown before the start says nothing about the race, and one shown at a post of somebody
    else does not end that post's silence, unless the head of the crew calls for it: a post that
    reports by radio.
    """
    if here.post is None or here.running.state is HeatState.TO_COME or early:
        return None
    stands_there = here.mark in {None, Mark.STAND_IN}
    if stands_there or caller.holds(Role.REFEREE, Role.CHIEF_UMPIRE):
        return here.running.run
    return None


def _is_early(clock: PhoneClock, running: Running) -> bool:
    """Whether a flag was shown before the heat's start, as a flag of a recalled start is that
    comes late. Only a phone whose clock was compared with the server's can tell.
    """
    if running.started_at is None or clock.offset_ms is None:
        return False
    error = timedelta(milliseconds=clock.error_ms or 0)
    return clock.at + timedelta(milliseconds=clock.offset_ms) + error < running.started_at


def _run_of(running: Running) -> int | None:
    """The run that a report is about, None where the heat had not been started."""
    return None if running.state is HeatState.TO_COME else running.run


def _post_words(place: Post | None, take_over: int | None) -> str:
    if place is not None:
        return place.words
    return f"take-over {take_over}, own observation" if take_over else "own observation"


def _marks(here: Arriving, lane: int | None, *, early: bool = False) -> list[str]:
    found: list[Mark] = []
    if lane is not None and here.running.team_id is None:
        found.append(Mark.NO_TEAM)
    if here.running.state in NOT_RUNNING:
        found.append(Mark.NOT_RUNNING)
    if early:
        found.append(Mark.BEFORE_START)
    if here.post is not None and lane is not None and lane not in here.post.lanes:
        found.append(Mark.OUTSIDE_POST)
    if here.mark is not None:
        found.append(here.mark)
    return [mark.value for mark in found]


def write_report(
    report_id: ReportId, sent: ReportIn, caller: Caller, version: int | None
) -> Action[Put[ReportOut]]:
    """The facts of a report: new, after its flag, or again after it was returned.

    The same content again is the same report. A returned report is a change and names the version
    it changes; a report that was only raised holds nothing that could be overwritten.
    """
    said, content = _said(sent)

    def act(unit: Unit) -> Done[Put[ReportOut]]:
        known = _REPORT.first(unit.conn, {"report": report_id})
        if known is not None and known.content == content:
            _insist_same(known, unit, caller, content, "a report")
            return Done(Put(report_out(unit.conn, unit.meet_id, report_id), created=False), None)
        if known is not None:
            _insist_writable(known, unit, caller, version)
        post_id = PostId(sent.post) if sent.post else None
        here = arriving(unit, HeatId(sent.heat), sent.lane, post_id, caller.official_id)
        facts = _judge_and_place(unit, report_id, sent, known, here)
        facts |= {"observation": said["observation"], "clock": said["clock"], "content": content}
        deed = Deed(Kind.REPORT_WRITTEN, report_id, _written(sent, facts))
        if known is None:
            stored = facts | _first_facts(unit, report_id, caller)
            _ADD_REPORT.run(unit.conn, stored)
            return Done(Put(report_from(stored, caller.name), created=True), deed)
        _WRITE_REPORT.run(
            unit.conn,
            {"report": report_id} | {f"new_{name}": value for name, value in facts.items()},
        )
        out = report_out(unit.conn, unit.meet_id, report_id)
        return Done(Put(out, created=known.content is None), deed)

    return act


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
    running, place = here.running, here.post
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
        "post_words": _post_words(place, take_over),
        # Written late or again, it is still about the run in which its flag was shown.
        "run": known.run if known and known.heat_id == sent.heat else _run_of(running),
        "take_over": take_over,
        "lane": sent.lane,
        "team_id": running.team_id,
        "state": ReportState.WRITTEN.value,
        "words": sent.words,
        "marks": _marks(here, sent.lane, early=_is_early(sent.clock, running)),
        "finding": as_stored(finding),
        "received_at": unit.now,
    }


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


def _insist_same(known: AnyRow, unit: Unit, caller: Caller, content: str, what: str) -> None:
    same_author = known.meet_id == unit.meet_id and known.official_id == caller.official_id
    if not same_author or known.content != content:
        raise IdTaken(what, known.id)


def _insist_writable(known: AnyRow, unit: Unit, caller: Caller, version: int | None) -> None:
    if known.meet_id != unit.meet_id or known.official_id != caller.official_id:
        raise IdTaken("a report", known.id)
    state = ReportState(known.state)
    if version is None and state is ReportState.WRITTEN:
        raise IdTaken(
            "a written report",
            known.id,
            "To correct it, ask the head official to return it to you, or withdraw it and write "
            "another under a new id.",
        )
    if version is None and state not in {ReportState.RAISED, ReportState.RETURNED}:
        raise IdTaken("a report", known.id)
    REPORT_TABLE.step(state, ReportAct.WRITE)
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
    if case.state == CaseState.RULED and known.state != ReportState.RAISED:
        raise StateConflict(
            "The case of this report has been ruled on, so it can no longer be withdrawn. "
            "Tell the head official, who can reconsider the ruling."
        )


def _report_of_meet(unit: Unit, report_id: ReportId) -> AnyRow:
    known: AnyRow | None = _REPORT.first(unit.conn, {"report": report_id})
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


def _said(sent: Wire) -> tuple[dict[str, Any], str]:
    """What was sent, as a document and in one line: two sendings of one thing read the same.

    Written out once, before the action is queued, since the writer's time is the dearest.
    """
    document = sent.model_dump(mode="json")
    return document, to_json(document).decode()

"""What is done with reports: written, asked back, written again, withdrawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import bindparam, update

from app.access.queries import Caller
from app.ids import CaseId, HeatId, MeetId, OfficialId, ReportId
from app.meets.queries import Running
from app.meets.states import HeatState
from app.record.kinds import Kind
from app.refusals import IdTaken, NotFound, NotYours, PreconditionMissing, Stale, StateConflict
from app.reports.arriving import (
    Arriving,
    about_the_same,
    arriving,
    marks_on,
    post_words,
    who_arrives,
)
from app.reports.attesting import SignedReport, TakenIn, attest
from app.reports.findings import as_stored, judge_report
from app.reports.following import (
    awaited_flags,
    flags_first_awaited,
    has_stood_back,
    is_called_by,
    run_awaited,
    stand_in_place_of,
)
from app.reports.grouping import (
    Place,
    case_for,
    insist_on_measure,
    joined_by,
    move_report,
    open_by_lane,
    touch_case_of,
)
from app.reports.queries import case_row, noted_against, possible_for, report_from, report_out
from app.reports.sendings import ADD_REPORT, REPORT_BY_ID, insist_same, said
from app.reports.states import OF_TIME, REPORT_TABLE, CaseState, ReportAct, ReportState
from app.reports.tables import reports
from app.reports.wire import ReportIn, ReportOut
from app.rules.observation import LaneInfringement
from app.store.action import Action, Asks, Deed, Done, Put, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow

HOW_TO_CORRECT = (
    "To correct it, ask the head official to return it to you, or withdraw it and write another "
    "under a new id."
)

AWAITED = frozenset({ReportState.RAISED, ReportState.RETURNED})

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
                "attested",
                "received_at",
                "content",
                "remark",
                "came_as",
            )
        }
        | {"version": reports.c.version + 1}
    )
)


def asked_of_report(meet_id: MeetId, report_id: ReportId, sent: ReportIn, by: OfficialId) -> Asks:
    """What writing a report asks first."""
    return Asks(
        about_the_same(sent, report_id),
        (
            (REPORT_BY_ID, {"report": report_id}),
            who_arrives(meet_id, sent),
            flags_first_awaited(sent, by),
            open_by_lane(HeatId(sent.heat), sent.lane, by),
        ),
    )


def write_report(
    report_id: ReportId,
    sent: ReportIn,
    caller: Caller,
    version: int | None,
    signed: SignedReport | None = None,
) -> Action[Put[ReportOut]]:
    """The facts of a report: new, after its flag, or again after it was returned.

    The same content again is the same report. A returned report is a change and names the version
    it changes; a report that was only raised holds nothing that could be overwritten.
    """
    document, content = said(sent)
    came = signed or TakenIn.of(report_id, caller, document)

    def act(unit: Unit) -> Done[Put[ReportOut]]:
        known = REPORT_BY_ID.first(unit.conn, {"report": report_id})
        if known is not None and known.content == content and not _stands_by(known, version):
            insist_same(known, unit, caller, content, "a report")
            return Done(Put(report_out(unit.conn, unit.meet_id, report_id), created=False), None)
        if known is not None:
            _insist_writable(known, unit, caller, version)
        here = _arriving(unit, sent, caller, known)
        raised = _flags_of(unit, sent, caller, known, here)
        facts = _judge_and_place(unit, sent, caller, known, raised, here)
        facts |= {
            "observation": document["observation"],
            "clock": document["clock"],
            "content": content,
            "attested": None,
        }
        attested = attest(unit, report_id, caller, came, facts)
        body = _written(sent, facts, raised) | attested
        deed = Deed(Kind.REPORT_WRITTEN, report_id, body)
        if known is not None and not raised and known.case_id != facts["case_id"]:
            moved = joined_by(unit, facts["case_id"], caller.official_id)
            insist_on_measure(unit, moved, caller.official_id)
        if known is None:
            stored = facts | _first_facts(unit, report_id, caller, raised)
            ADD_REPORT.later(unit.conn, stored)
            out = report_from(stored, caller.name, here.running.team_name)
        else:
            _write_over(unit, known, facts)
            out = report_out(unit.conn, unit.meet_id, report_id)
        for flag in raised:
            stand_in_place_of(unit, flag, report_id, facts["case_id"])
        return Done(Put(out, created=known is None or known.content is None), deed)

    return act


def _arriving(unit: Unit, sent: ReportIn, caller: Caller, known: AnyRow | None) -> Arriving:
    """What is known of the run that an account is about: that of its flag, under whichever id."""
    here = arriving(unit, sent, caller.official_id, _flagged_in(known, sent))
    if known is not None:
        return here
    run = run_awaited(unit, sent, here.run, caller.official_id)
    return here if run == here.run else arriving(unit, sent, caller.official_id, run)


def _flags_of(
    unit: Unit, sent: ReportIn, caller: Caller, known: AnyRow | None, here: Arriving
) -> Sequence[AnyRow]:
    """What the flags of this account raised under other ids; once it has come, nothing more."""
    if known is not None and known.state != ReportState.RAISED:
        return ()
    return awaited_flags(unit, sent, here.run, caller.official_id, known)


def _write_over(unit: Unit, known: AnyRow, facts: Mapping[str, Any]) -> None:
    """What was asked with a return stays; that its account came as another report does not."""
    remark = known.remark if known.came_as is None else None
    new = {
        f"new_{name}": value for name, value in {**facts, "remark": remark, "came_as": None}.items()
    }
    _WRITE_REPORT.run(unit.conn, {"report": known.id} | new)


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
    sent: ReportIn,
    caller: Caller,
    known: AnyRow | None,
    raised: Sequence[AnyRow],
    here: Arriving,
) -> dict[str, Any]:
    """What follows from an account; it is about what its flag was about, whenever it comes."""
    running, place = here.running, here.post
    take_over = place.take_over if place else sent.take_over
    finding = judge_report(running, take_over, sent.observation, _noted_before(unit, sent, running))
    over = running.state is HeatState.ENDED
    about = Place(HeatId(sent.heat), sent.lane, running.team_id, over)
    case_id = _case_of(unit, about, caller, [*([known] if known else []), *raised])
    return {
        "heat_id": sent.heat,
        "case_id": case_id,
        "post_id": sent.post,
        "post_words": post_words(place, take_over),
        "run": here.run,
        "take_over": take_over,
        "lane": sent.lane,
        "team_id": running.team_id,
        "state": ReportState.WRITTEN.value,
        "words": sent.words,
        "marks": _marks(known or next(iter(raised), None), sent, here),
        "finding": as_stored(finding),
        "received_at": unit.now,
    }


def _flagged_in(known: AnyRow | None, sent: ReportIn) -> int | None:
    """The run in which a report's flag was shown: written late or again, it is still about that."""
    return known.run if known is not None and known.heat_id == sent.heat else None


def _case_of(unit: Unit, about: Place, caller: Caller, known: Sequence[AnyRow]) -> CaseId:
    """The case of an account: all that was raised for it comes along, and leaves none behind."""
    by = caller.official_id
    if not known:
        joined = case_for(unit, about, by)
        insist_on_measure(unit, joined, by)
        return joined.case_id
    return [move_report(unit, one.id, CaseId(one.case_id), about, by) for one in known][-1]


def _marks(known: AnyRow | None, sent: ReportIn, here: Arriving) -> list[str]:
    """A report under a flag has the flag's marks of time: it is about what was seen then."""
    found = marks_on(here, sent.lane)
    if known is None or known.heat_id != sent.heat:
        return found
    return [
        *(mark for mark in known.marks if mark in OF_TIME),
        *(mark for mark in found if mark not in OF_TIME),
    ]


def _first_facts(
    unit: Unit, report_id: ReportId, caller: Caller, raised: Sequence[AnyRow]
) -> dict[str, Any]:
    return {
        "id": report_id,
        "meet_id": unit.meet_id,
        "official_id": caller.official_id,
        "raised_at": raised[0].raised_at if raised else unit.now,
        "remark": None,
        "came_as": None,
        "version": 1,
    }


def _written(sent: ReportIn, facts: Mapping[str, Any], raised: Sequence[AnyRow]) -> dict[str, Any]:
    """What the record keeps of a written report: all that was sent, and what followed from it."""
    told = {
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
    return told | {"in_place_of": [flag.id for flag in raised]} if raised else told


def _insist_writable(known: AnyRow, unit: Unit, caller: Caller, version: int | None) -> None:
    if known.meet_id != unit.meet_id or known.official_id != caller.official_id:
        raise IdTaken("a report", known.id)
    state = ReportState(known.state)
    how = HOW_TO_CORRECT if state is ReportState.WRITTEN else ""
    stood_back = has_stood_back(known)
    if version is None and not stood_back and state not in AWAITED:
        raise IdTaken("a written report", known.id, how) if how else IdTaken("a report", known.id)
    REPORT_TABLE.step(state, ReportAct.WRITE_ALL_THE_SAME if stood_back else ReportAct.WRITE, how)
    if version is None and state is ReportState.RETURNED:
        raise PreconditionMissing(
            "This report was returned to you: send If-Match with its ETag to write it again."
        )
    if version is not None and version != known.version:
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
        is_own = known.official_id == caller.official_id
        if not is_own and not is_called_by(unit, known, caller.official_id):
            raise NotYours(
                "Only the umpire who wrote a report can withdraw it, and whoever called for their "
                "post while the account has not come."
            )
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


ASKED_ALREADY = "A question to its umpire is out: it is answered by writing the report again."


def _step(known: AnyRow, what: ReportAct, version: int) -> None:
    is_asked = what is ReportAct.RETURN and known.state == ReportState.RETURNED
    REPORT_TABLE.step(ReportState(known.state), what, ASKED_ALREADY if is_asked else "")
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

"""What is done with flags: white says nothing to report, yellow opens a case at once."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import bindparam, insert, select

from app.access.queries import Caller
from app.crew.queries import expected_posts
from app.ids import CallId, CaseId, HeatId, MeetId, OfficialId, ReportId, new_id
from app.meets.actions import set_heat_state
from app.meets.queries import Running, heat
from app.meets.states import HEAT_TABLE, NOT_TO_RUN, HeatAct, HeatState
from app.record.kinds import Kind
from app.refusals import IdTaken
from app.reports.arriving import (
    Arriving,
    about_the_same,
    arriving,
    marks_on,
    post_words,
    who_arrives,
)
from app.reports.following import has_stood_back
from app.reports.grouping import Place, case_for, last_beyond_measure, open_by_lane
from app.reports.heard import called_posts
from app.reports.queries import call_from, call_out
from app.reports.sendings import ADD_REPORT, REPORT_BY_ID, insist_same, said
from app.reports.states import NOT_FOR_POST, RELAYED, Mark, ReportState
from app.reports.tables import calls
from app.reports.wire import CallIn, CallOut, Flag
from app.roles import Role
from app.store.action import Action, Asks, Deed, Done, Put, Unit
from app.store.prepared import Prepared
from app.store.rows import AnyRow

_CALL = Prepared(select(calls).where(calls.c.id == bindparam("call")))
_FLAG_OF = Prepared(select(calls.c.id).where(calls.c.report_id == bindparam("report")).limit(1))
_ADD_CALL = Prepared(insert(calls))


def asked_of_flag(meet_id: MeetId, call_id: CallId, sent: CallIn, by: OfficialId) -> Asks:
    """What showing a flag asks first."""
    questions = [(_CALL, {"call": call_id}), who_arrives(meet_id, sent)]
    if sent.report is not None:
        questions.append((REPORT_BY_ID, {"report": sent.report}))
    if sent.lane is not None:
        questions.append(open_by_lane(HeatId(sent.heat), sent.lane, by))
    return Asks(about_the_same(sent, call_id, sent.report), tuple(questions))


def show_flag(call_id: CallId, sent: CallIn, caller: Caller) -> Action[Put[CallOut]]:
    """A post shows white or yellow. Yellow raises a report and opens (or joins) a case at once."""
    document, content = said(sent)

    def act(unit: Unit) -> Done[Put[CallOut]]:
        known = _CALL.first(unit.conn, {"call": call_id})
        if known is not None:
            insist_same(known, unit, caller, content, "a call")
            return Done(Put(call_out(unit.conn, unit.meet_id, call_id), created=False), None)
        here = _as_head_of_crew(arriving(unit, sent, caller.official_id), caller)
        running = here.running
        run = _speaks_in(here)
        marks = marks_on(here, sent.lane)
        author = _author_for(here, caller)
        report_id, case_id = None, None
        if sent.flag is Flag.YELLOW:
            report_id, case_id = _raise_report(unit, sent, author, here, marks)
        stored = {
            "id": call_id,
            "meet_id": unit.meet_id,
            "heat_id": sent.heat,
            "post_id": sent.post,
            "official_id": caller.official_id,
            "flag": sent.flag.value,
            "lane": sent.lane,
            "team_id": running.team_id,
            "run": run,
            "report_id": report_id,
            "names_report": _names_report(sent, report_id) and author == caller.official_id,
            "clock": document["clock"],
            "marks": marks,
            "received_at": unit.now,
            "content": content,
        }
        _ADD_CALL.later(unit.conn, stored)
        judged = _note_if_judged(unit, HeatId(sent.heat), running)
        facts = {
            **document,
            "report": report_id,
            "report_of": author if report_id else None,
            "case": case_id,
            "marks": marks,
            "run": run,
            "judged": judged,
        }
        out = call_from(stored, running.team_name, case_id)
        return Done(Put(out, created=True), Deed(Kind.CALL, call_id, facts))

    return act


def _names_report(sent: CallIn, report_id: ReportId | None) -> bool:
    return report_id is not None and report_id == sent.report


def _as_head_of_crew(here: Arriving, caller: Caller) -> Arriving:
    """The head of the crew may call for a post where somebody else stands: one with a radio."""
    if here.mark is Mark.OTHERS_POST and caller.holds(Role.REFEREE, Role.CHIEF_UMPIRE):
        return replace(here, mark=Mark.CALLED_BY_HEAD)
    return here


def _author_for(here: Arriving, caller: Caller) -> OfficialId:
    """Who saw it, and writes the account: whoever stands at the post, not who relays the flag."""
    relays = caller.holds(Role.REFEREE, Role.CHIEF_UMPIRE) and here.mark in RELAYED
    if here.post is not None and relays:
        return here.post.official_id
    return caller.official_id


def _raise_report(
    unit: Unit, sent: CallIn, author: OfficialId, here: Arriving, marks: list[str]
) -> tuple[ReportId, CaseId]:
    running, place = here.running, here.post
    report_id = ReportId(sent.report or new_id())
    known = REPORT_BY_ID.first(unit.conn, {"report": report_id})
    if known is not None:
        if known.meet_id != unit.meet_id or known.official_id != author:
            raise IdTaken("a report", report_id)
        if _is_flag_of(unit, known, sent, here):
            # The written report overtook its flag on a bad line: it stands, the flag joins it.
            return report_id, known.case_id
        # A phone that names another report by mistake: this flag is one more, never lost.
        report_id = ReportId(new_id())
    over = running.state is HeatState.ENDED
    about = Place(HeatId(sent.heat), sent.lane, running.team_id, over)
    joined = case_for(unit, about, author)
    case_id = joined.case_id
    last = last_beyond_measure(unit, joined, author)
    if last is not None:
        return last, case_id
    ADD_REPORT.later(
        unit.conn,
        {
            "id": report_id,
            "meet_id": unit.meet_id,
            "heat_id": sent.heat,
            "case_id": case_id,
            "official_id": author,
            "post_id": sent.post,
            "post_words": post_words(place, None),
            "run": here.run,
            "take_over": place.take_over if place else None,
            "lane": sent.lane,
            "team_id": running.team_id,
            "state": ReportState.RAISED.value,
            "observation": None,
            "words": "",
            "marks": marks,
            "finding": None,
            "clock": None,
            "attested": None,
            "raised_at": unit.now,
            "received_at": None,
            "content": None,
            "remark": None,
            "came_as": None,
            "version": 1,
        },
    )
    return report_id, case_id


def _is_flag_of(unit: Unit, known: AnyRow, sent: CallIn, here: Arriving) -> bool:
    """Whether this is the flag of a report that came before it: same run, same place, none yet."""
    if has_stood_back(known):
        return False
    same_lane = sent.lane is None or sent.lane == known.lane
    there, place = (known.heat_id, known.run, known.post_id), (sent.heat, here.run, sent.post)
    same_place = there == place
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


def _speaks_in(here: Arriving) -> int | None:
    """The run of the heat for which this call speaks for its post, None where it does not.

    A flag shown before the start says nothing about the race, and one shown at a post of somebody
    else does not end that post's silence, unless the head of the crew calls for it: a post that
    reports by radio.
    """
    if here.post is None or here.running.state in NOT_TO_RUN or here.early:
        return None
    # This heat has no such post, or it is for somebody else to say.
    return None if here.mark in NOT_FOR_POST else here.running.run

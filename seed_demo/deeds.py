"""What each step of the story brings about: the action that HTTP would call, and what to tell.

Every deed runs the program's own action through the store and tells what came of it, read from
the answer and not from the story.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

from app.clock import clock_time
from app.ids import (
    AnnouncementId,
    CallId,
    CaseId,
    CorrectionId,
    PictureId,
    ReportId,
    RoundId,
    RulingId,
    new_id,
)
from app.meets.actions import start_heat
from app.meets.queries import heat
from app.pictures.actions import Place, add_picture
from app.pictures.redrawing import redraw
from app.refusals import FileRefused
from app.reports.actions import return_report, withdraw_report, write_report
from app.reports.flags import show_flag
from app.reports.heard import heat_posts
from app.reports.queries import case_row, report_out, reports_of_case
from app.reports.wire import CallIn, Flag, PostLine, ReportIn, ReportOut
from app.results.actions import load_result
from app.results.announced_time import correct_time
from app.results.announcement_wire import AnnouncementIn, AnnouncementOut, SnapshotWindow
from app.results.announcing import announce
from app.results.correction_wire import TimeCorrectionIn
from app.results.queries import result
from app.rounds.actions import set_round
from app.rounds.wire import RoundIn, RoundOut
from app.rulings.actions import rule_on
from app.rulings.wire import RulingIn
from app.sheets.finish_list import read_finish_list
from seed_demo.files import read_bytes
from seed_demo.joining import sign
from seed_demo.remedies import do_remedy
from seed_demo.stage import Announced, Ruled, Stage
from seed_demo.story import (
    Announce,
    CorrectTime,
    Draw,
    Finish,
    OnTrack,
    Picture,
    Remedy,
    Report,
    Return,
    Rule,
    SetRound,
    Start,
    Step,
    Whites,
    Withdraw,
    Yellow,
)
from seed_demo.telling import Happening, Told


def do_step(stage: Stage, step: Step) -> Happening:
    """Do what a step says, at its time, and tell it."""
    at = stage.timetable.instant(step.at)
    stage.clock.move_to(at)
    told = do_remedy(stage, step) if isinstance(step, Remedy) else _do(stage, step)
    return Happening(at, told)


def _do(stage: Stage, step: OnTrack) -> Told:  # noqa: C901, PLR0911, PLR0912  (a kind a line)
    match step:
        case Start():
            return _start(stage, step)
        case Whites():
            return _show_white(stage, step)
        case Yellow():
            return _show_yellow(stage, step)
        case Report():
            return _write(stage, step)
        case Return():
            return _return(stage, step)
        case Picture():
            return _add_picture(stage, step)
        case Withdraw():
            return _withdraw(stage, step)
        case Rule():
            return _rule(stage, step)
        case Finish():
            return _load_finish(stage, step)
        case Announce():
            return _announce(stage, step)
        case CorrectTime():
            return _correct_time(stage, step)
        case Draw():
            return _draw(stage, step)
        case SetRound():
            return _set_round(stage, step)
        case _:
            assert_never(step)


def _start(stage: Stage, step: Start) -> Told:
    heat_id = stage.heats[step.heat]
    known = stage.read(lambda conn: heat(conn, stage.meet_id, heat_id))
    started = stage.act(step.by, start_heat(heat_id, known.version))
    what = f"starts {started.event_name}, {started.round}, heat {started.number}"
    return Told(step.heat, stage.people[step.by].name, what)


def _show_white(stage: Stage, step: Whites) -> Told:
    """Post after post, a second apart, as the flags go up along the track."""
    umpires = {place: key for key, place in stage.posts.items()}
    calling = [
        umpires[line.post]
        for line in _silent_posts(stage, step.heat)
        if line.take_over in step.take_overs and umpires[line.post] not in step.silent
    ]
    for by in calling:
        _call(stage, by, CallId(new_id()), step.heat, Flag.WHITE)
        stage.clock.wait(1)
    silent = len(_silent_posts(stage, step.heat))
    rest = f"{silent} still silent" if silent else "every post has called"
    return Told(step.heat, f"{len(calling)} posts", f"white flag; {rest}")


def _silent_posts(stage: Stage, heat_key: str) -> list[PostLine]:
    posts = stage.read(lambda conn: heat_posts(conn, stage.meet_id, stage.heats[heat_key])).posts
    return [line for line in posts if line.flag is None]


def _show_yellow(stage: Stage, step: Yellow) -> Told:
    report_id = stage.reports[step.report] = ReportId(new_id())
    _call(stage, step.by, CallId(new_id()), step.heat, Flag.YELLOW, step.lane, report_id)
    raised = _report(stage, report_id)
    lane = "lane to follow" if step.lane is None else f"lane {step.lane}"
    joined = stage.read(lambda conn: reports_of_case(conn, raised.case))[:-1]
    comes = "joins the open case" if joined else "opens a case"
    what = f"YELLOW flag, {lane}: {comes}{_marked(raised)}"
    return Told(step.heat, raised.official_name, what)


def _call(
    stage: Stage,
    by: str,
    call_id: CallId,
    heat_key: str,
    flag: Flag,
    lane: int | None = None,
    report_id: ReportId | None = None,
) -> None:
    sent = CallIn(
        heat=stage.heats[heat_key],
        post=stage.posts[by],
        flag=flag,
        lane=lane,
        report=report_id,
        clock=stage.phone_clock(by),
    )
    stage.act(by, show_flag(call_id, sent, stage.caller(by)))


def _report(stage: Stage, report_id: ReportId) -> ReportOut:
    return stage.read(lambda conn: report_out(conn, stage.meet_id, report_id))


def _write(stage: Stage, step: Report) -> Told:
    known = _report(stage, stage.reports[step.report])
    again = known.received_at is not None
    sent = ReportIn(
        heat=stage.heats[step.heat],
        lane=step.lane,
        post=stage.posts[step.by],
        observation=step.observation,
        words=step.words,
        clock=stage.phone_clock(step.by),
    )
    version = known.version if again else None
    written = stage.act(step.by, write_report(known.id, sent, stage.caller(step.by), version)).thing
    what = f"report{' written again' if again else ''}, lane {step.lane}: {_found(written)}"
    return Told(step.heat, written.official_name, what + _marked(written))


def _found(report: ReportOut) -> str:
    if report.finding is None:
        return "no finding"
    title, outcome = report.finding.title.lower(), report.finding.outcome
    return f"{title}; finding: {outcome} ({report.finding.rule})"


def _marked(report: ReportOut) -> str:
    return "".join(f"; marked “{mark.value}”" for mark in report.marks)


def _return(stage: Stage, step: Return) -> Told:
    known = _report(stage, stage.reports[step.report])
    returned = stage.act(step.by, return_report(known.id, step.reason, known.version))
    what = f"returns the report of {returned.official_name}: “{returned.remark}”"
    return Told(stage.heat_key(returned.heat), stage.people[step.by].name, what)


def _add_picture(stage: Stage, step: Picture) -> Told:
    known, content = _report(stage, stage.reports[step.report]), read_bytes(step.file)
    caller = stage.caller(step.by)
    place = Place(stage.meet_id, known.id, PictureId(new_id()), caller, most_mib=1)
    added = stage.act(step.by, add_picture(place, content, redraw(content))).thing
    what = f"adds a picture to the report, {added.width} by {added.height} pixels"
    return Told(stage.heat_key(known.heat), added.official_name, what)


def _withdraw(stage: Stage, step: Withdraw) -> Told:
    known = _report(stage, stage.reports[step.report])
    taken_back = stage.act(
        step.by, withdraw_report(known.id, step.reason, stage.caller(step.by), known.version)
    )
    what = f"withdraws the flag for lane {taken_back.lane}: “{taken_back.remark}”"
    return Told(stage.heat_key(taken_back.heat), taken_back.official_name, what)


def _rule(stage: Stage, step: Rule) -> Told:
    case_id = CaseId(_report(stage, stage.reports[step.report]).case)
    version = stage.read(lambda conn: case_row(conn, stage.meet_id, case_id)).version
    sent = RulingIn(verdict=step.verdict, reasons=step.reasons, pin=sign(stage, step.by))
    action = rule_on(case_id, RulingId(new_id()), sent, stage.pen(step.by), version)
    ruled = stage.act(step.by, action).thing
    heat_key = stage.heat_key(ruled.heat)
    stage.rulings.append(Ruled(ruled.id, heat_key, ruled.lane))
    what = f"RULES on lane {ruled.lane}: {ruled.verdict}, {ruled.effect}"
    return Told(heat_key, ruled.official_name, what)


def _load_finish(stage: Stage, step: Finish) -> Told:
    content = read_bytes(f"finish/{step.heat}.csv")
    rows, problems = read_finish_list(content)
    if problems:
        raise FileRefused("finish list", problems)
    heat_id = stage.heats[step.heat]
    loaded = stage.act(
        step.by, load_result(heat_id, rows, content, stage.caller(step.by), None)
    ).thing
    what = f"loads the finish list, {len(loaded.lines)} lanes"
    return Told(step.heat, stage.people[step.by].name, what)


def _announce(stage: Stage, step: Announce) -> Told:
    heat_id = stage.heats[step.heat]
    seen = stage.read(lambda conn: result(conn, stage.meet_id, heat_id))
    sent = AnnouncementIn(
        heat=heat_id, despite=step.despite, remark=step.remark, pin=sign(stage, step.by)
    )
    action = announce(AnnouncementId(new_id()), sent, stage.pen(step.by), version=seen.version)
    made = stage.act(step.by, action).thing
    stage.seals.sign_present_head(stage.meet_id)
    stage.announcements.append(Announced(made.id, step.heat, made.number))
    return Told(step.heat, made.announced_by_name, _announced(made))


def _announced(made: AnnouncementOut) -> str:
    notes = [f"{line.annotation} lane {line.lane}" for line in made.lines if line.annotation]
    parts = [f"ANNOUNCES result {made.number}", *notes]
    if made.despite:
        parts.append(f"by explicit word, with {made.blockers.words}")
    parts += _qualified(made)
    parts += _until(made.windows, made.time_zone) or [made.no_windows_because.rstrip(".")]
    return "; ".join(parts)


def _qualified(made: AnnouncementOut) -> list[str]:
    """Who goes on to the next round, letter by letter."""
    lanes: dict[str, list[str]] = {}
    for line in made.lines:
        if line.qualification:
            lanes.setdefault(line.qualification, []).append(str(line.lane))
    return [
        f"{letter} lane{'s' if len(those) > 1 else ''} {', '.join(those)}"
        for letter, those in lanes.items()
    ]


def _until(windows: Sequence[SnapshotWindow], zone: str) -> list[str]:
    return [
        f"{window.remedy}s until {clock_time(window.closes_at, zone)}"
        for window in windows
        if window.closes_at is not None
    ]


def _correct_time(stage: Stage, step: CorrectTime) -> Told:
    last = next(one for one in reversed(stage.announcements) if one.heat == step.heat)
    at = stage.timetable.instant(step.announced_at)
    sent = TimeCorrectionIn(announced_at=at, reasons=step.reasons, pin=sign(stage, step.by))
    action = correct_time(last.id, CorrectionId(new_id()), sent, stage.pen(step.by))
    corrected = stage.act(step.by, action).thing
    zone = corrected.time_zone
    truly = clock_time(corrected.made_at, zone)
    parts = [
        f"corrects the time of result {corrected.number}: announced at {truly}",
        *_until(corrected.windows_as_corrected, zone),
    ]
    return Told(step.heat, stage.people[step.by].name, "; ".join(parts))


def _draw(stage: Stage, step: Draw) -> Told:
    loaded = stage.load_start_list(step.by, step.file)
    what = (
        f"loads start lists: {loaded.heats_added} heats added, {loaded.heats_changed} changed, "
        f"{loaded.lanes} lanes"
    )
    return Told("", stage.people[step.by].name, what)


def _set_round(stage: Stage, step: SetRound) -> Told:
    heat_id = stage.rounds[step.round] = stage.heats[step.heat]
    known = stage.read(lambda conn: heat(conn, stage.meet_id, heat_id))
    sent = RoundIn(
        event=known.event,
        round=known.round,
        next_round=step.next_round,
        by_place=step.by_place,
        by_time=step.by_time,
        lanes=step.lanes,
        points=list(step.points),
    )
    made = stage.act(step.by, set_round(RoundId(new_id()), sent, None)).thing
    return Told(step.round, stage.people[step.by].name, _round_set(made))


def _round_set(made: RoundOut) -> str:
    leads = (
        f"the first {made.by_place} of each heat and the next {made.by_time} by time go on to the "
        f"{made.next_round}"
        if made.next_round
        else ""
    )
    scores = f"points {' '.join(made.points)}" if made.points else ""
    said = "; ".join(filter(None, (leads, scores)))
    return f"sets the round {made.event_name}, {made.round}: {said}"

"""What lies before a jury on paper about one case, one protest or one appeal?

A cover that says where it stands and what follows on which page; then the time line, the reports
with their zones and pictures, what was ruled and decided, the windows, and the page of hashes by
which all of it can be checked. The file draws what it is given and decides nothing. Layout of our
own; what a jury needs is common practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from app.forms.flow import Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.hashes_section import Hashes, write_hashes
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.photograph_section import PictureOnPaper, write_photographs
from app.forms.plain_table import Heading, PlainTable, write_plain_table
from app.forms.record_head import UNKNOWN_HEAD, PrintedHead
from app.forms.remedy_paper import Section, write_section
from app.forms.report_section import ReportOnForm, write_report
from app.forms.sheet_head import TeamHead, name_race, write_meet, write_team
from app.forms.sheet_parts import (
    BODY,
    GAP,
    SMALL,
    Fact,
    Foot,
    add_feet,
    plan_foot,
    shorten,
    write_missing,
    write_title,
)
from app.forms.typesetting import Segment, Typesetter
from app.forms.verdict_section import Verdict, write_verdict
from app.forms.zone_scale import ZonePicture
from app.forms.zone_section import write_zones

__all__ = [
    "CaseFile",
    "CaseOnFile",
    "DecisionOnFile",
    "Moment",
    "PictureOnPaper",
    "RemedyOnFile",
    "ReportOnFile",
    "Section",
    "Verdict",
    "WindowOnFile",
    "draw_case_file",
]

PART_TITLE = 14.0
TIMES = "Windows"
ROOM = {TIMES: 160.0}
"""A short part need not begin on a page of its own; so much of one is enough for it (points)."""
PAGE_SHARE = 0.08
NOT_KNOWN_YET = "\u2013"
ABOUT_TIMES = (
    "In the order in which the server recorded it. “Happened” is by the server's clock: of what a "
    "phone wrote, the time that the phone showed, put right by how far it was off. “Received” is "
    "when the server had it. “Entry” is the number in the meet's record."
)
MOMENTS = (
    Heading("entry", 0.06, Weight.BOLD),
    Heading("happened", 0.14, Weight.BOLD),
    Heading("the phone's clock showed", 0.16),
    Heading("received", 0.14),
    Heading("who", 0.16),
    Heading("what", 0.34),
)
POSTS = (
    Heading("post", 0.34),
    Heading("who", 0.2),
    Heading("showed", 0.26, Weight.BOLD),
    Heading("received", 0.2),
)
MOVED = (
    Heading("team", 0.4, Weight.BOLD),
    Heading("without this ruling", 0.3),
    Heading("with it", 0.3, Weight.BOLD),
)
WINDOWS = (
    Heading("for", 0.13, Weight.BOLD),
    Heading("opened by", 0.17),
    Heading("opened", 0.18),
    Heading("closes", 0.18, Weight.BOLD),
    Heading("rule", 0.12),
    Heading("now", 0.22),
)


@dataclass(frozen=True, slots=True)
class Moment:
    """An act: its entry in the record, and when it happened, by whose clock."""

    entry: str
    happened: str
    phone: str
    received: str
    who: str
    what: str


@dataclass(frozen=True, slots=True)
class ReportOnFile:
    """A report with what was written before it was asked back, and its pictures. `doubt`
    says why its signature does not show who signed; so do the marks of a decision's verdict.
    """

    report: ReportOnForm
    number: int
    earlier: tuple[Section, ...]
    pictures: tuple[PictureOnPaper, ...]
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class PostOnFile:
    """A post that watched, who stood there, and what was shown and when."""

    post: str
    who: str
    showed: str
    at: str


@dataclass(frozen=True, slots=True)
class MovedOnFile:
    """A team that a ruling moves: its place and time without the ruling, and with it."""

    team: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class DecisionOnFile:
    """A ruling, or a decision on a protest or an appeal; `ident` is its id, and is not printed."""

    title: str
    verdict: Verdict
    sections: tuple[Section, ...]
    ident: str = ""
    moved: tuple[MovedOnFile, ...] = ()


@dataclass(frozen=True, slots=True)
class CaseOnFile:
    """A case: what was reported, and how it was ruled on."""

    title: str
    sections: tuple[Section, ...]
    reports: tuple[ReportOnFile, ...]
    posts: tuple[PostOnFile, ...]
    zones: tuple[ZonePicture, ...]
    zone_note: str
    rulings: tuple[DecisionOnFile, ...]


@dataclass(frozen=True, slots=True)
class RemedyOnFile:
    """A protest or an appeal, and what was decided on it."""

    title: str
    marks: tuple[str, ...]
    sections: tuple[Section, ...]
    decisions: tuple[DecisionOnFile, ...]


@dataclass(frozen=True, slots=True)
class WindowOnFile:
    """The time in which something can be lodged, in words."""

    remedy: str
    opened_by: str
    opened: str
    closes: str
    rule: str
    now: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseFile(TeamHead):
    """Everything on the file, with times and distances already in words.

    `name` is what it is called over a radio: "case 3". `confidence` says who may read it, above
    all else; `doubts` say which signatures do not show who signed. `notice` says in full who may
    read it, and what it is and is not.
    """

    name: str
    drawn_at: str
    confidence: str
    doubts: tuple[str, ...]
    about: tuple[Section, ...]
    stands: tuple[Section, ...]
    notice: Section
    moments: tuple[Moment, ...]
    cases: tuple[CaseOnFile, ...]
    remedies: tuple[RemedyOnFile, ...]
    windows: tuple[WindowOnFile, ...]
    hashes: Hashes
    head: PrintedHead = UNKNOWN_HEAD


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of the file; it begins on a new page, or where so much of one is left."""

    title: str
    write: Callable[[Flow], None]
    room: float = math.inf


@dataclass(slots=True)
class _Plan:
    """The file as it is planned: on which page each part begins."""

    flow: Flow
    begins: dict[str, int] = field(default_factory=dict)


def draw_case_file(file: CaseFile, paper: Paper) -> bytes:
    """The file as a PDF; the same file on the same paper gives the same bytes."""
    # Planned twice: on which pages the parts begin is known once all of it has been set.
    first = _plan(file, paper, {})
    plan = _plan(file, paper, first.begins)
    title = f"File of {shorten(file.name)} \u2013 {shorten(file.event)}"
    subject = ", ".join(map(shorten, (file.team, file.meet, file.date)))
    return paint(plan.flow.pages, paper, About(title, subject))


def _plan(file: CaseFile, paper: Paper, pages: Mapping[str, int]) -> _Plan:
    typesetter = Typesetter()
    foot = _plan_foot(typesetter, file, paper)
    plan = _Plan(Flow(paper, foot.height, typesetter=typesetter))
    parts = _parts(file)
    _write_cover(plan.flow, file, parts, pages)
    for part in parts:
        plan.flow.need(part.room)
        plan.begins[part.title] = len(plan.flow.pages)
        _write_part_title(plan.flow, part.title)
        part.write(plan.flow)
    write_missing(plan.flow)
    add_feet(plan.flow, foot)
    return plan


def _plan_foot(typesetter: Typesetter, file: CaseFile, paper: Paper) -> Foot:
    caution = (
        f"Findings are suggestions by the edition “{shorten(file.edition)}”. The "
        "appointed officials decide under the current edition of their own rule book."
    )
    which = [
        Fact("", "In confidence", "who may read it"),
        Fact("", f"File of {file.name}", "name of the file"),
        Fact("", f"drawn up {file.drawn_at}", "time of drawing up"),
    ]
    return plan_foot(typesetter, paper, caution, [name_race(file), which])


def _parts(file: CaseFile) -> list[_Part]:
    """What follows the cover, numbered, so that no two have one title."""
    parts = [
        ("Time line", partial(_write_moments, file=file)),
        *((case.title, partial(_write_case, case=case)) for case in file.cases),
        *((one.title, partial(_write_remedy, remedy=one)) for one in file.remedies),
        (TIMES, partial(_write_windows, file=file)),
        ("Page of hashes", partial(_write_hashes, file=file)),
    ]
    return [
        _Part(f"{number} {title}", write, ROOM.get(title, math.inf))
        for number, (title, write) in enumerate(parts, 1)
    ]


def _write_cover(flow: Flow, file: CaseFile, parts: list[_Part], pages: Mapping[str, int]) -> None:
    drawn = Fact("Drawn up", file.drawn_at, "time of drawing up")
    write_title(flow, f"File of {file.name}", [drawn])
    flow.write([Segment(file.confidence, "who may read it", Weight.BOLD)], BODY + 3.0)
    flow.skip(2.0)
    write_meet(flow, file)
    write_team(flow, file)
    flow.skip(GAP)
    for doubt in file.doubts:
        _write_doubt(flow, doubt)
    for section in file.about:
        write_section(flow, section)
    for section in file.stands:
        write_section(flow, section)
    _write_contents(flow, parts, pages)
    write_section(flow, file.notice)


def _write_doubt(flow: Flow, doubt: str) -> None:
    if doubt:
        flow.write([Segment(doubt, "signatures", Weight.BOLD)], BODY + 1.0)
        flow.skip(GAP * 0.6)


def _write_contents(flow: Flow, parts: list[_Part], pages: Mapping[str, int]) -> None:
    flow.label("What is in it", BODY)
    wide = flow.width * (1.0 - PAGE_SHARE)
    for part in parts:
        page = str(pages.get(part.title, NOT_KNOWN_YET))
        words = flow.set_lines([Segment(part.title, "contents")], BODY, wide - GAP)
        number = flow.set_lines(
            [Segment(page, "contents", Weight.BOLD)], BODY, flow.width * PAGE_SHARE
        )
        flow.columns(
            [
                Column(flow.left, wide, words),
                Column(flow.left + wide, flow.width * PAGE_SHARE, number, Align.RIGHT),
            ]
        )
    flow.skip(GAP)


def _write_part_title(flow: Flow, title: str) -> None:
    flow.write([Segment(title, "titles of parts", Weight.BOLD)], PART_TITLE)
    flow.skip(2.0)
    flow.rule(1.2)
    flow.skip(GAP * 0.6)


def _write_moments(flow: Flow, file: CaseFile) -> None:
    flow.write([Segment(ABOUT_TIMES, "time line")], SMALL)
    flow.skip(GAP * 0.6)
    rows = [
        (one.entry, one.happened, one.phone, one.received, one.who, one.what)
        for one in file.moments
    ]
    write_plain_table(flow, PlainTable("time line", MOMENTS, rows))


def _write_case(flow: Flow, case: CaseOnFile) -> None:
    for section in case.sections:
        write_section(flow, section)
    _write_posts(flow, case.posts)
    if case.zones:
        write_zones(flow, case.zones, "")
    if case.zone_note:
        flow.write([Segment(case.zone_note, "zone")], SMALL)
    flow.skip(GAP)
    if not case.reports:
        flow.write([Segment("No report belongs to this case.", "reports")], BODY)
    for report in case.reports:
        _write_report(flow, report)
    for ruling in case.rulings:
        flow.skip(GAP)
        _write_decision(flow, ruling)


def _write_posts(flow: Flow, posts: Sequence[PostOnFile]) -> None:
    if posts:
        title = "What the posts showed that watched this lane there"
        rows = [(one.post, one.who, one.showed, one.at) for one in posts]
        write_plain_table(flow, PlainTable("posts", POSTS, rows, title=title))
        flow.skip(GAP)


def _write_report(flow: Flow, one: ReportOnFile) -> None:
    flow.label(f"Report {one.number}", BODY + 2.0)
    _write_doubt(flow, one.doubt)
    write_report(flow, one.report, one.number)
    flow.skip(GAP * 0.6)
    for section in one.earlier:
        write_section(flow, section)
    write_photographs(flow, one.pictures)


def _write_remedy(flow: Flow, remedy: RemedyOnFile) -> None:
    for mark in remedy.marks:
        flow.write([Segment(mark, "marks", Weight.BOLD)], BODY + 3.0)
    for section in remedy.sections:
        write_section(flow, section)
    for decision in remedy.decisions:
        _write_decision(flow, decision)


def _write_decision(flow: Flow, decision: DecisionOnFile) -> None:
    flow.keep(partial(_write_verdict, decision=decision))
    if decision.moved:
        rows = [(one.team, one.before, one.after) for one in decision.moved]
        title = "Places and times in this heat"
        write_plain_table(flow, PlainTable("consequences", MOVED, rows, title=title))
        flow.skip(GAP)
    for section in decision.sections:
        write_section(flow, section)


def _write_verdict(flow: Flow, decision: DecisionOnFile) -> None:
    flow.label(decision.title, BODY + 2.0)
    flow.skip(2.0)
    write_verdict(flow, decision.verdict)


def _write_windows(flow: Flow, file: CaseFile) -> None:
    if not file.windows:
        words = "No window is open or was: no result of this heat has been announced."
        flow.write([Segment(words, "windows")], BODY)
    rows = [
        (one.remedy, one.opened_by, one.opened, one.closes, one.rule, one.now)
        for one in file.windows
    ]
    write_plain_table(flow, PlainTable("windows", WINDOWS, rows))


def _write_hashes(flow: Flow, file: CaseFile) -> None:
    write_hashes(flow, file.hashes, file.head)

"""What does a paper about a remedy say: a protest, an appeal, or the decision on one of them?

The four share one layout: who it is about, what was decided or is awaited, what people wrote, and
who signed. One page for an ordinary case on A4 and on Letter; more text goes on over further pages.
The paper draws what it is given and decides nothing. Layout of our own; the facts on it are those
that a protest or an appeal needs (common practice).
"""

from dataclasses import dataclass
from functools import partial

from app.forms.flow import LABEL_GREY, Column, Flow
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.record_head import UNKNOWN_HEAD, PrintedHead
from app.forms.sheet_head import TeamHead, name_race, write_meet, write_team
from app.forms.sheet_parts import (
    BODY,
    GAP,
    SMALL,
    Fact,
    Foot,
    add_feet,
    fit_pages,
    plan_foot,
    say,
    shorten,
    write_title,
)
from app.forms.signature_section import InkField, Signature
from app.forms.signing_section import Signing, write_signing
from app.forms.typesetting import Segment, Typesetter
from app.forms.verdict_section import Verdict, write_verdict

__all__ = ["InkField", "PrintedHead", "RemedyPaper", "Section", "Signature", "draw_remedy_paper"]

DASH = "\u2013"
LABEL_SHARE = 0.22
LABEL_GAP = 6.0
PARAGRAPH_GAP = 3.0


@dataclass(frozen=True, slots=True)
class Section:
    """A titled part: labels with values, then what people wrote, then a list of our sentences."""

    title: str
    facts: tuple[tuple[str, str], ...] = ()
    paragraphs: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RemedyPaper(TeamHead):
    """Everything on the paper, with times and distances already in words.

    `number` is what it is called over a radio. `verdict` is empty while nothing is decided, and
    `awaits` then says whose word is awaited. `effect` and `standing_note` are empty where there is
    none; `marks` are what its reader must know first, such as that it came late. `since` is what
    became known after the signatures, below which it stands. `further` are those who may sign on a
    device once the paper was sealed, by what they sign as.
    """

    title: str
    number: str
    verdict: str
    awaits: str
    effect: str
    grounds: tuple[tuple[str, str], ...]
    reasons: str
    standing_note: str
    marks: tuple[str, ...]
    sections: tuple[Section, ...]
    signatures: tuple[Signature, ...]
    ink_fields: tuple[InkField, ...]
    printed_at: str
    since: tuple[Section, ...] = ()
    head: PrintedHead = UNKNOWN_HEAD
    further: tuple[str, ...] = ()


def draw_remedy_paper(paper: RemedyPaper, sheet: Paper) -> bytes:
    """The paper as a PDF; the same paper on the same sheet gives the same bytes."""
    flow = fit_pages(partial(_plan, paper, sheet))
    title = " \u2013 ".join(map(shorten, (paper.title, paper.number, paper.event)))
    subject = ", ".join(map(shorten, (paper.team, paper.meet, paper.date)))
    return paint(flow.pages, sheet, About(title, subject))


def _plan(paper: RemedyPaper, sheet: Paper, scale: float) -> Flow:
    typesetter = Typesetter()
    foot = _plan_foot(typesetter, paper, sheet)
    flow = Flow(sheet, foot.height, scale, typesetter)
    _write_head(flow, paper)
    verdict = _state_verdict(paper)
    decided_on = len(flow.pages)
    write_verdict(flow, verdict)
    for section in paper.sections:
        write_section(flow, section)
    is_signed = bool(paper.signatures)
    signing = Signing(paper.signatures, paper.ink_fields, paper.head, is_signed, paper.further)
    write_signing(flow, signing, verdict, decided_on)
    for section in paper.since:
        _write_since(flow, section)
    add_feet(flow, foot)
    return flow


def _plan_foot(typesetter: Typesetter, paper: RemedyPaper, sheet: Paper) -> Foot:
    caution = (
        f"Windows and consequences are worked out by the edition “{shorten(paper.edition)}”. The "
        "appointed officials decide under the current edition of their own rule book."
    )
    which = [
        Fact("", paper.title, "title"),
        Fact("", paper.number, "number"),
        Fact("", f"sealed {paper.printed_at}", "time of sealing"),
    ]
    return plan_foot(typesetter, sheet, caution, [name_race(paper), which])


def _write_head(flow: Flow, paper: RemedyPaper) -> None:
    printed = Fact("Sealed", paper.printed_at, "time of sealing")
    write_title(flow, paper.title, [printed], paper.number)
    write_meet(flow, paper)
    write_team(flow, paper)
    flow.skip(GAP * 0.6)


def _state_verdict(paper: RemedyPaper) -> Verdict:
    return Verdict(
        label="decision",
        words=paper.verdict,
        effect=paper.effect,
        grounds=tuple(Fact(label, value, label) for label, value in paper.grounds),
        reasons=paper.reasons,
        later=paper.standing_note,
        name=paper.number,
        awaits=paper.awaits,
        marks=paper.marks,
    )


def _write_since(flow: Flow, section: Section) -> None:
    """Below a line of its own, so that nobody takes it for what was signed."""
    flow.skip(GAP)
    flow.keep(partial(_write_below_a_line, section=section))


def _write_below_a_line(flow: Flow, section: Section) -> None:
    flow.rule()
    flow.skip(GAP * 0.4)
    write_section(flow, section)


def write_section(flow: Flow, section: Section) -> None:
    """The part with its title, and room below it."""
    if section.title:
        flow.label(section.title, BODY)
    for label, value in section.facts:
        _write_fact(flow, label, value)
    for paragraph in section.paragraphs:
        flow.skip(PARAGRAPH_GAP)
        flow.write([Segment(paragraph, section.title)], BODY)
    if section.items and (section.facts or section.paragraphs):
        flow.skip(PARAGRAPH_GAP)
    for item in section.items:
        flow.item(DASH, say(item, section.title), BODY)
    flow.skip(GAP)


def _write_fact(flow: Flow, label: str, value: str) -> None:
    share = flow.width * LABEL_SHARE
    name = flow.set_lines([Segment(label, "labels")], SMALL + 0.8, share - LABEL_GAP)
    words = flow.set_lines([Segment(value, label)], BODY, flow.width - share)
    tag = flow.tag()
    beside = Column(flow.left + share, flow.width - share, words, tag=tag)
    flow.columns([Column(flow.left, share, name, grey=LABEL_GREY, tag=tag), beside])

"""What does the form for one case say, on paper, from what was seen to who signed?

One page for an ordinary case on A4 and on Letter; more text goes on over further pages. The form
draws what it is given and decides nothing: the finding comes from the rules, the ruling from the
head official. Layout of our own; the facts on it are those that a report needs (common practice).
"""

from dataclasses import dataclass

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.report_section import ReportOnForm, ReturnOnForm, write_report
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
    LINES_IN_A_CELL,
    Cell,
    Fact,
    add_feet,
    join_facts,
    plan_foot,
    shorten,
    write_cells,
    write_missing,
    write_title,
)
from app.forms.signature_section import Signature, write_ink_fields, write_signatures
from app.forms.typesetting import Segment, Typesetter
from app.forms.zone_scale import ZoneMark, ZonePicture
from app.forms.zone_section import write_zones

__all__ = [
    "FormFacts",
    "InfringementForm",
    "ReportOnForm",
    "ReturnOnForm",
    "Signature",
    "ZoneMark",
    "ZonePicture",
    "draw_infringement_form",
]

VERDICT = 22.0
# A form that is a little too long for one page is set a little smaller, down to about 8 points.
A_LITTLE_TOO_LONG = 2  # pages
SCALES = (1.0, 0.94, 0.88)


@dataclass(frozen=True, slots=True)
class FormFacts:
    """What was ruled on and what was ruled, with times and distances already in words.

    Fixed at the ruling: none of it is read anew when the form is printed again. `ruling_count` says
    how lane infringements were counted, where that mattered; `zone_note` what is not drawn.
    """

    meet: str
    place: str
    date: str
    time_zone: str
    edition: str
    event: str
    round: str
    heat: str
    lane: str
    team: str
    affiliation: str
    bib: str
    case_id: str
    zones: tuple[ZonePicture, ...]
    reports: tuple[ReportOnForm, ...]
    ruling_verdict: str
    ruling_infringement: str
    ruling_rule: str
    ruling_count: str
    ruling_reasons: str
    ruled_at: str
    ruled_by: str
    effect: str
    zone_note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InfringementForm(FormFacts):
    """Everything on the form: the facts of the ruling, and what is known when it is printed.

    `later_ruling` tells that another ruling has replaced this one; it is empty while this stands.
    """

    later_ruling: str
    signatures: tuple[Signature, ...]
    ink_fields: tuple[str, ...]
    record_head: str
    printed_at: str


def draw_infringement_form(form: InfringementForm, paper: Paper) -> bytes:
    """The form as a PDF; the same form on the same paper gives the same bytes."""
    flow = _plan(form, paper, SCALES[0])
    if len(flow.pages) == A_LITTLE_TOO_LONG:
        smaller = (_plan(form, paper, scale) for scale in SCALES[1:])
        flow = next((plan for plan in smaller if len(plan.pages) == 1), flow)
    title = f"Infringement form \u2013 {shorten(form.event)} \u2013 lane {shorten(form.lane)}"
    subject = f"Case {shorten(form.case_id)}, {shorten(form.meet)}, {shorten(form.date)}"
    return paint(flow.pages, paper, About(title, subject))


def _plan(form: InfringementForm, paper: Paper, scale: float) -> Flow:
    typesetter = Typesetter()
    caution = (
        f"Findings are suggestions by the edition “{shorten(form.edition)}”. The appointed "
        "officials decide under the current edition of their own rule book."
    )
    foot = plan_foot(
        typesetter, paper, caution, f"case {form.case_id}", f"printed {form.printed_at}"
    )
    flow = Flow(paper, foot.height, scale, typesetter)
    _write_head(flow, form)
    _write_ruling(flow, form)
    write_zones(flow, form.zones, form.zone_note)
    _write_reports(flow, form.reports)
    flow.skip(GAP)
    write_signatures(flow, form.signatures)
    head = [Fact("Record head at printing", form.record_head, "record head")]
    flow.write(join_facts(head), LABEL)
    flow.skip(GAP * 0.7)
    write_ink_fields(flow, form.ink_fields)
    write_missing(flow)
    add_feet(flow, foot)
    return flow


def _write_head(flow: Flow, form: InfringementForm) -> None:
    aside = [
        Fact("Case", form.case_id, "case"),
        Fact("Printed", form.printed_at, "time of printing"),
    ]
    write_title(flow, "Infringement form", aside)
    meet = [
        Fact("", form.meet, "meet"),
        Fact("", form.place, "place"),
        Fact("", form.date, "date"),
        Fact("times in", form.time_zone, "time zone"),
    ]
    flow.write(join_facts(meet), BODY)
    flow.skip(3.0)
    flow.rule(1.2)
    flow.skip(4.0)
    _write_identity(flow, form)
    flow.skip(GAP * 0.6)


def _write_identity(flow: Flow, form: InfringementForm) -> None:
    strong = Weight.BOLD
    large = BODY + 2.0
    write_cells(
        flow,
        [
            Cell(Fact("event", form.event, "event"), 0.38, large, strong),
            Cell(Fact("round", form.round, "round"), 0.26, large),
            Cell(Fact("heat", form.heat, "heat"), 0.18, large),
            Cell(Fact("lane", form.lane, "lane"), 0.18, large, strong),
        ],
    )
    flow.skip(3.0)
    write_cells(
        flow,
        [
            Cell(Fact("team", form.team, "team"), 0.38, large, strong),
            Cell(Fact("affiliation", form.affiliation, "affiliation"), 0.26),
            Cell(Fact("bib", form.bib, "bib"), 0.1),
            Cell(Fact("rule edition", form.edition, "edition"), 0.26),
        ],
    )


def _write_ruling(flow: Flow, form: InfringementForm) -> None:
    if form.later_ruling:
        flow.write([Segment(form.later_ruling, "later ruling", Weight.BOLD)], BODY + 2.0)
        flow.skip(3.0)
    with flow.frame(5.0, 1.8):
        _write_verdict(flow, form)
        facts = [
            Fact("infringement", form.ruling_infringement, "infringement"),
            Fact("rule", form.ruling_rule, "rule of the ruling"),
            Fact("ruled", form.ruled_at, "time of the ruling"),
            Fact("by", form.ruled_by, "head official"),
        ]
        flow.write(join_facts(facts, Weight.BOLD), BODY)
        if form.ruling_count:
            flow.write([Segment(form.ruling_count, "count of the ruling")], BODY)
        if form.ruling_reasons:
            flow.skip(2.0)
            flow.write([Segment("reasons", "labels")], LABEL, grey=LABEL_GREY)
            flow.write([Segment(form.ruling_reasons, "reasons")], BODY)
    flow.skip(GAP)


def _write_verdict(flow: Flow, form: InfringementForm) -> None:
    half = flow.width / 2
    verdict = Segment(form.ruling_verdict or "\u2013", "ruling", Weight.BOLD)
    effect = Segment(form.effect or "\u2013", "effect", Weight.BOLD)
    label = [Segment("ruling", "labels")]
    flow.columns(
        [
            Column(flow.left, half, flow.set_lines(label, LABEL, half), grey=LABEL_GREY),
            Column(
                flow.left + half,
                half,
                flow.set_lines([Segment("effect on the result", "labels")], LABEL, half),
                Align.RIGHT,
                LABEL_GREY,
            ),
        ]
    )
    large = [flow.set_lines([words], VERDICT, half - 6.0) for words in (verdict, effect)]
    if max(len(lines) for lines in large) > LINES_IN_A_CELL:
        flow.write([verdict], BODY + 2.0)
        flow.write([effect], BODY + 2.0)
        return
    flow.columns(
        [
            Column(flow.left, half, large[0]),
            Column(flow.left + half, half, large[1], Align.RIGHT),
        ]
    )


def _write_reports(flow: Flow, reports: tuple[ReportOnForm, ...]) -> None:
    flow.skip(GAP * 0.7)
    flow.label(
        "Who saw it, and what was seen" if reports else "No report belongs to this case", BODY
    )
    for number, report in enumerate(reports, 1):
        write_report(flow, report, number)
        flow.skip(4.0)

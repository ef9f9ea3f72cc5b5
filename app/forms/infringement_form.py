"""What does the form for one case say, on paper, from what was seen to who signed?

One page for an ordinary case on A4 and on Letter; more text goes on over further pages. The form
draws what it is given and decides nothing: the finding comes from the rules, the ruling from the
head official. Layout of our own; the facts on it are those that a report needs (common practice).
"""

from functools import partial

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.form_facts import FormFacts, InfringementForm
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.report_section import ReportOnForm, ReturnOnForm, write_report
from app.forms.ruling_section import write_ruling, write_ruling_again
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
    NOT_GIVEN,
    Cell,
    Fact,
    Foot,
    add_feet,
    join_facts,
    plan_foot,
    shorten,
    write_cells,
    write_missing,
    write_title,
)
from app.forms.signature_section import InkField, Signature, write_ink_fields, write_signatures
from app.forms.typesetting import Typesetter
from app.forms.zone_scale import ZoneMark, ZonePicture
from app.forms.zone_section import write_zones

__all__ = [
    "FormFacts",
    "InfringementForm",
    "InkField",
    "ReportOnForm",
    "ReturnOnForm",
    "Signature",
    "ZoneMark",
    "ZonePicture",
    "draw_infringement_form",
]

# A form that is a little too long for one page is set a little smaller, down to about 8 points.
A_LITTLE_TOO_LONG = 2  # pages
SCALES = (1.0, 0.94, 0.88)


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
    foot = _plan_foot(typesetter, form, paper)
    flow = Flow(paper, foot.height, scale, typesetter)
    _write_head(flow, form)
    ruled_on = len(flow.pages)
    write_ruling(flow, form)
    write_zones(flow, form.zones, form.zone_note)
    _write_reports(flow, form.reports)
    flow.skip(GAP)
    _sign(flow, form, ruled_on)
    add_feet(flow, foot)
    return flow


def _plan_foot(typesetter: Typesetter, form: InfringementForm, paper: Paper) -> Foot:
    caution = (
        f"Findings are suggestions by the edition “{shorten(form.edition)}”. The appointed "
        "officials decide under the current edition of their own rule book."
    )
    whose = [
        Fact("", form.event, "event"),
        Fact("", form.round, "round"),
        Fact("", f"heat {form.heat or NOT_GIVEN}", "heat"),
        Fact("", f"lane {form.lane or NOT_GIVEN}", "lane"),
        Fact("", form.team, "team"),
    ]
    which = [
        Fact("", f"case {form.case_id}", "case"),
        Fact("", f"printed {form.printed_at}", "time of printing"),
    ]
    return plan_foot(typesetter, paper, caution, [whose, which])


def _sign(flow: Flow, form: InfringementForm, ruled_on: int) -> None:
    """All signatures on one page, and on it the ruling that they sign."""
    write = partial(_write_signing, form=form)
    if len(flow.pages) != ruled_on or not flow.fits(write):
        flow.keep(partial(write, ruled_on=ruled_on))


def _write_signing(flow: Flow, form: InfringementForm, ruled_on: int | None = None) -> None:
    if ruled_on is not None:
        write_ruling_again(flow, form, ruled_on)
    write_signatures(flow, form.signatures)
    head = [Fact("Record head at printing", form.record_head, "record head")]
    flow.write(join_facts(head), LABEL)
    flow.skip(GAP * 0.7)
    write_ink_fields(flow, form.ink_fields)
    write_missing(flow)


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


def _write_reports(flow: Flow, reports: tuple[ReportOnForm, ...]) -> None:
    flow.skip(GAP * 0.7)
    flow.label(
        "Who saw it, and what was seen" if reports else "No report belongs to this case", BODY
    )
    for number, report in enumerate(reports, 1):
        write_report(flow, report, number)
        flow.skip(4.0)

"""What does the form for one case say, on paper, from what was seen to who signed?

One page for an ordinary case on A4 and on Letter; more text goes on over further pages. The form
draws what it is given and decides nothing: the finding comes from the rules, the ruling from the
head official. Layout of our own; the facts on it are those that a report needs (common practice).
"""

from functools import partial

from app.forms.flow import Flow
from app.forms.form_facts import FormFacts, InfringementForm
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.forms.report_section import ReportOnForm, ReturnOnForm, write_report
from app.forms.sheet_head import name_race, write_meet, write_team
from app.forms.sheet_parts import (
    BODY,
    GAP,
    NOT_GIVEN,
    Fact,
    Foot,
    add_feet,
    fit_pages,
    plan_foot,
    shorten,
    write_title,
)
from app.forms.signature_section import InkField, Signature
from app.forms.signing_section import Signing, write_signing
from app.forms.typesetting import Typesetter
from app.forms.verdict_section import Verdict, write_verdict
from app.forms.zone_scale import ZoneMark, ZonePicture
from app.forms.zone_section import write_zones

__all__ = [
    "FormFacts",
    "InfringementForm",
    "InkField",
    "PrintedHead",
    "ReportOnForm",
    "ReturnOnForm",
    "Signature",
    "ZoneMark",
    "ZonePicture",
    "draw_infringement_form",
]


def draw_infringement_form(form: InfringementForm, paper: Paper) -> bytes:
    """The form as a PDF; the same form on the same paper gives the same bytes."""
    flow = fit_pages(partial(_plan, form, paper))
    title = f"Infringement form \u2013 {shorten(form.event)} \u2013 lane {shorten(form.lane)}"
    subject = f"Case {shorten(form.case_name)}, {shorten(form.meet)}, {shorten(form.date)}"
    return paint(flow.pages, paper, About(title, subject))


def _plan(form: InfringementForm, paper: Paper, scale: float) -> Flow:
    typesetter = Typesetter()
    foot = _plan_foot(typesetter, form, paper)
    flow = Flow(paper, foot.height, scale, typesetter)
    _write_head(flow, form)
    verdict = _state_ruling(form)
    ruled_on = len(flow.pages)
    write_verdict(flow, verdict)
    write_zones(flow, form.zones, form.zone_note)
    _write_reports(flow, form.reports)
    flow.skip(GAP)
    signing = Signing(form.signatures, form.ink_fields, form.head, further=form.further)
    write_signing(flow, signing, verdict, ruled_on)
    add_feet(flow, foot)
    return flow


def _plan_foot(typesetter: Typesetter, form: InfringementForm, paper: Paper) -> Foot:
    caution = (
        f"Findings are suggestions by the edition “{shorten(form.edition)}”. The appointed "
        "officials decide under the current edition of their own rule book."
    )
    which = [
        Fact("", f"case {form.case_name}", "case"),
        Fact("", f"sealed {form.printed_at}", "time of sealing"),
    ]
    return plan_foot(typesetter, paper, caution, [name_race(form), which])


def _write_head(flow: Flow, form: InfringementForm) -> None:
    aside = [
        Fact("Case", form.case_name, "case"),
        Fact("Sealed", form.printed_at, "time of sealing"),
    ]
    write_title(flow, "Infringement form", aside)
    write_meet(flow, form)
    write_team(flow, form)
    flow.skip(GAP * 0.6)


def _state_ruling(form: InfringementForm) -> Verdict:
    return Verdict(
        label="ruling",
        words=form.ruling_verdict or NOT_GIVEN,
        effect=form.effect or NOT_GIVEN,
        grounds=(
            Fact("infringement", form.ruling_infringement, "infringement"),
            Fact("rule", form.ruling_rule, "rule of the ruling"),
            Fact("ruled", form.ruled_at, "time of the ruling"),
            Fact("by", form.ruled_by, "head official"),
        ),
        note=form.ruling_count,
        reasons=form.ruling_reasons,
        later=form.later_ruling,
    )


def _write_reports(flow: Flow, reports: tuple[ReportOnForm, ...]) -> None:
    flow.skip(GAP * 0.7)
    flow.label(
        "Who saw it, and what was seen" if reports else "No report belongs to this case", BODY
    )
    for number, report in enumerate(reports, 1):
        write_report(flow, report, number)
        flow.skip(4.0)

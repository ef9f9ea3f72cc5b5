"""What does the form of one report say, from what was seen to the ruling that followed?

It is the umpire's own paper, there as soon as the report is written. It keeps a box free for the
head official: the ruling is signed into the sealed file, so that whoever holds the earlier one can
see that nothing of the report was changed for it.
"""

from dataclasses import dataclass
from functools import partial

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead
from app.forms.report_section import ReportOnForm, write_report
from app.forms.sheet_head import TeamHead, name_race, write_meet, write_team
from app.forms.sheet_parts import (
    BODY,
    GAP,
    Fact,
    Foot,
    add_feet,
    fit_pages,
    plan_foot,
    shorten,
    write_title,
)
from app.forms.signature_section import InkField, Signature
from app.forms.signing_section import Signing, write_signed
from app.forms.typesetting import Segment, Typesetter
from app.forms.zone_scale import ZonePicture
from app.forms.zone_section import write_zones

HEAD_OFFICIAL = "Head official"


@dataclass(frozen=True, slots=True)
class ReportForm(TeamHead):
    """One report in words. `later` tells that the case was ruled on more than once; it is empty
    while one ruling stands, or none.
    """

    case_number: str
    report_id: str
    report: ReportOnForm
    zones: tuple[ZonePicture, ...]
    zone_note: str
    later: str
    signatures: tuple[Signature, ...]
    ink_fields: tuple[InkField, ...]
    head: PrintedHead
    printed_at: str
    further: tuple[str, ...] = (HEAD_OFFICIAL,)


def draw_report_form(form: ReportForm, paper: Paper) -> bytes:
    """The form as a PDF; the same form on the same paper gives the same bytes."""
    flow = fit_pages(partial(_plan, form, paper))
    title = f"Report form \u2013 {shorten(form.event)} \u2013 lane {shorten(form.lane)}"
    subject = f"Case {shorten(form.case_number)}, {shorten(form.meet)}, {shorten(form.date)}"
    return paint(flow.pages, paper, About(title, subject))


def _plan(form: ReportForm, paper: Paper, scale: float) -> Flow:
    typesetter = Typesetter()
    foot = _plan_foot(typesetter, form, paper)
    flow = Flow(paper, foot.height, scale, typesetter)
    _write_head(flow, form)
    if form.later:
        flow.write([Segment(form.later, "later ruling", Weight.BOLD)], BODY + 2.0)
        flow.skip(GAP * 0.6)
    write_zones(flow, form.zones, form.zone_note)
    flow.skip(GAP * 0.7)
    flow.label("Who saw it, and what was seen", BODY)
    write_report(flow, form.report, 1)
    flow.skip(GAP)
    is_signed = bool(form.signatures)
    signing = Signing(form.signatures, form.ink_fields, form.head, is_signed, form.further)
    flow.keep(partial(write_signed, signing=signing))
    add_feet(flow, foot)
    return flow


def _plan_foot(typesetter: Typesetter, form: ReportForm, paper: Paper) -> Foot:
    caution = (
        f"The finding is a suggestion by the edition \u201c{shorten(form.edition)}\u201d. The "
        "appointed officials decide under the current edition of their own rule book."
    )
    which = [
        Fact("", f"case {form.case_number}", "case"),
        Fact("", f"report {form.report_id}", "report"),
        Fact("", f"sealed {form.printed_at}", "time of sealing"),
    ]
    return plan_foot(typesetter, paper, caution, [name_race(form), which])


def _write_head(flow: Flow, form: ReportForm) -> None:
    aside = [
        Fact("Case", form.case_number, "case"),
        Fact("Sealed", form.printed_at, "time of sealing"),
    ]
    write_title(flow, "Report form", aside)
    write_meet(flow, form)
    write_team(flow, form)
    flow.skip(GAP * 0.6)

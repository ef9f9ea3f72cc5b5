"""What does an infringement form tell: what was fixed at the ruling, and what is known at printing?

All of it comes in words; the sections of the form set it on paper.
"""

from dataclasses import dataclass

from app.forms.record_head import PrintedHead
from app.forms.report_section import ReportOnForm
from app.forms.sheet_head import TeamHead
from app.forms.signature_section import InkField, Signature
from app.forms.zone_scale import ZonePicture

# What forms had before they named who signs.
NAMELESS = (InkField("Umpire"), InkField("Head official"), InkField("Team, for receipt"))


@dataclass(frozen=True, slots=True)
class FormFacts(TeamHead):
    """What was ruled on and what was ruled, with times and distances already in words.

    Fixed at the ruling: none of it is read anew when the form is printed again. `ruling_count` says
    how lane infringements were counted, where that mattered; `zone_note` what is not drawn.
    """

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
    ink_fields: tuple[InkField, ...] = NAMELESS
    case_number: str = ""

    @property
    def case_name(self) -> str:
        """The case's number, which can be said aloud, and its identifier."""
        return ", ".join(filter(None, [self.case_number, self.case_id]))


@dataclass(frozen=True, slots=True, kw_only=True)
class InfringementForm(FormFacts):
    """Everything on the form: the facts of the ruling, and what is known when it is printed.

    `later_ruling` tells that another ruling has replaced this one; it is empty while this stands.
    `further` are those who may sign on a device once the form was sealed, by what they sign as.
    """

    later_ruling: str
    signatures: tuple[Signature, ...]
    head: PrintedHead
    printed_at: str
    further: tuple[str, ...] = ()

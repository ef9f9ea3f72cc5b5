"""What was ruled, in letters that are found at once, and again above signatures on another page?

Nobody signs on a sheet that does not say what is signed. Verdict and effect come in words; the form
adds nothing to them.
"""

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.form_facts import InfringementForm
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
    LINES_IN_A_CELL,
    NOT_GIVEN,
    Fact,
    join_facts,
    shorten_facts,
)
from app.forms.typesetting import Segment

VERDICT = 22.0


def write_ruling(flow: Flow, form: InfringementForm) -> None:
    """The ruling in full, framed; above it that it no longer stands, where that is so."""
    _write_later_ruling(flow, form)
    with flow.frame(5.0, 1.8):
        _write_verdict(flow, form)
        flow.write(join_facts(_grounds(form), Weight.BOLD), BODY)
        if form.ruling_count:
            flow.write([Segment(form.ruling_count, "count of the ruling")], BODY)
        if form.ruling_reasons:
            flow.skip(2.0)
            flow.write([Segment("reasons", "labels")], LABEL, grey=LABEL_GREY)
            flow.write([Segment(form.ruling_reasons, "reasons")], BODY)
    flow.skip(GAP)


def _write_verdict(flow: Flow, form: InfringementForm) -> None:
    half = flow.width / 2
    verdict = Segment(form.ruling_verdict or NOT_GIVEN, "ruling", Weight.BOLD)
    effect = Segment(form.effect or NOT_GIVEN, "effect", Weight.BOLD)
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


def write_ruling_again(flow: Flow, form: InfringementForm, page: int) -> None:
    """The ruling in short, for signatures that stand on another page than the ruling in full."""
    _write_later_ruling(flow, form)
    facts = [
        Fact("Ruling", form.ruling_verdict, "ruling"),
        Fact("effect on the result", form.effect, "effect"),
        *_grounds(form),
    ]
    with flow.frame(4.0, 1.0):
        flow.write(join_facts(shorten_facts(facts), Weight.BOLD), BODY)
        flow.write([Segment(f"In full, with its reasons, on page {page}.", "ruling")], BODY)
    flow.skip(GAP)


def _write_later_ruling(flow: Flow, form: InfringementForm) -> None:
    if form.later_ruling:
        flow.write([Segment(form.later_ruling, "later ruling", Weight.BOLD)], BODY + 2.0)
        flow.skip(3.0)


def _grounds(form: InfringementForm) -> list[Fact]:
    return [
        Fact("infringement", form.ruling_infringement, "infringement"),
        Fact("rule", form.ruling_rule, "rule of the ruling"),
        Fact("ruled", form.ruled_at, "time of the ruling"),
        Fact("by", form.ruled_by, "head official"),
    ]

"""What did one observer report, and what does the rule make of it?

What was observed stands in sentences made from the observer's answers. The words are the observer's
own, whole and in their order. The finding is given as the suggestion that it is, with its reason
and its rule. Whether the observer was asked back stands with the report: the account is then not
the first one. So do the pictures that belong to it, by what tells each from any other.
"""

from dataclasses import dataclass

from app.forms.flow import INDENT, Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import BODY, SMALL, Fact, join_facts
from app.forms.signature_section import SHA256_OF_STATEMENT
from app.forms.typesetting import Segment


@dataclass(frozen=True, slots=True)
class ReturnOnForm:
    """That the observer was asked back: when, by whom, what, and what became of it."""

    at: str
    by: str
    asked: str
    became: str


@dataclass(frozen=True, slots=True)
class ReportOnForm:
    """One report in words, as the form shows it.

    `strength` is how its statement was signed, and `revoked_from` from when on the key was revoked
    where that is before it came (RFC 3339): by these a later form knows what this one has told.
    """

    observer: str
    post: str
    seen: str
    observed: str
    words: str
    written_at: str
    received_at: str
    clock_note: str
    finding: str
    finding_reason: str
    rule: str
    marks_note: str
    attested: str
    returns: tuple[ReturnOnForm, ...] = ()
    pictures: str = ""
    strength: str = ""
    statement_sha256: str = ""
    revoked_from: str = ""


def write_report(flow: Flow, report: ReportOnForm, number: int) -> None:
    """The report from its observer to its finding."""
    where = f"report {number}"
    flow.need(4 * BODY * flow.scale)
    flow.number(
        number,
        [
            Segment(report.observer, f"observer of {where}", Weight.BOLD),
            Segment("  \u00b7  ", where),
            Segment(report.post, f"post of {where}"),
        ],
        BODY,
    )
    _write_seen(flow, report, where)
    _write_returns(flow, report, where)
    _write_finding(flow, report, where)
    _write_times(flow, report, where)


def _write_seen(flow: Flow, report: ReportOnForm, where: str) -> None:
    flow.write(
        [
            Segment("Seen: ", where),
            Segment(report.seen, f"what was seen in {where}", Weight.BOLD),
        ],
        BODY,
        INDENT,
    )
    if report.observed:
        flow.write([Segment(report.observed, f"observations of {where}")], BODY, INDENT)
    if report.words:
        words = [Fact("In the observer's words", report.words, f"words of {where}")]
        flow.write(join_facts(words), BODY, INDENT)


def _write_returns(flow: Flow, report: ReportOnForm, where: str) -> None:
    for one in report.returns:
        returned = [
            Fact("Returned", one.at, f"return of {where}"),
            Fact("by", one.by, f"return of {where}"),
            Fact("asked", one.asked, f"question about {where}"),
        ]
        became = [
            Segment("  \u00b7  ", where),
            Segment(one.became, f"return of {where}", Weight.BOLD),
        ]
        flow.write(join_facts(returned) + became, BODY, INDENT)


def _write_finding(flow: Flow, report: ReportOnForm, where: str) -> None:
    if not report.finding:
        return
    finding = Fact("Finding (a suggestion)", report.finding, f"finding of {where}")
    grounds = [
        Fact("rule", report.rule, f"rule of {where}"),
        Fact("reason", report.finding_reason, f"reason of the finding of {where}"),
    ]
    parting = [Segment("  \u00b7  ", where)]
    words = join_facts([finding], Weight.BOLD) + parting + join_facts(grounds)
    flow.write(words, BODY, INDENT)


def _write_times(flow: Flow, report: ReportOnForm, where: str) -> None:
    if report.marks_note:
        flow.write([Segment(report.marks_note, f"note on {where}", Weight.BOLD)], SMALL, INDENT)
    written = report.written_at
    if written and report.clock_note:
        written = f"{written} ({report.clock_note})"
    times = [
        Fact("written", written, f"time of {where}"),
        Fact("received", report.received_at, f"time of {where}"),
        Fact("attested", report.attested, f"attestation of {where}"),
    ]
    flow.write(join_facts(times), SMALL, INDENT)
    if report.statement_sha256:
        digest = Fact(SHA256_OF_STATEMENT, report.statement_sha256, f"digest of {where}")
        flow.write(join_facts([digest]), SMALL, INDENT)
    if report.pictures:
        pictures = [Fact("pictures", report.pictures, f"pictures of {where}")]
        flow.write(join_facts(pictures), SMALL, INDENT)

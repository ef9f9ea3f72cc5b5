"""What does the notice board show for one announcement of a result?

The annotated result as a table, then what goes with it: who qualified, the windows for protests and
appeals, why it was amended, remarks, and what the abbreviations mean. Times and annotations come
formatted; the form adds nothing to them. Whether a later announcement stands, what can still be
lodged and whether the result is final are told as of the time of printing, which stands on each
page.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.record_head import PrintedHead, beside_code, write_record_head
from app.forms.result_table import ResultLine, write_table
from app.forms.sheet_head import MeetHead, write_meet
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
    Cell,
    Fact,
    add_feet,
    join_facts,
    plan_foot,
    say,
    shorten,
    write_cells,
    write_missing,
    write_title,
)
from app.forms.signature_section import SHA256_OF_STATEMENT
from app.forms.typesetting import Segment, Typesetter

__all__ = ["PrintedHead", "ResultLine", "ResultSheet", "draw_result_sheet"]

CAUTION = (
    "This sheet shows the announcement as it was recorded; the appointed officials decide under "
    "the current edition of their own rule book."
)
WINDOWS = "Protests and appeals"


@dataclass(frozen=True, slots=True)
class ResultSheet(MeetHead):
    """One announcement, with times and marks already in words.

    `superseded` tells that a later announcement stands; it is empty while this one does. `because`
    tells why it was amended; what changed stands in the remarks.
    """

    event: str
    round: str
    heat: str
    number: int
    is_amended: bool
    supersedes: str
    superseded: str
    announced_at: str
    announced_by: str
    lines: tuple[ResultLine, ...]
    remarks: tuple[str, ...]
    windows: tuple[str, ...]
    abbreviations: tuple[tuple[str, str], ...]
    head: PrintedHead
    digest: str
    printed_at: str
    qualified_title: str = ""
    qualified: tuple[str, ...] = ()
    because: tuple[str, ...] = ()
    time_corrected: str = ""
    final_note: str = ""
    signed: str = ""


def draw_result_sheet(sheet: ResultSheet, paper: Paper) -> bytes:
    """The result as a PDF; the same result on the same paper gives the same bytes."""
    typesetter = Typesetter()
    whose = [
        Fact("", sheet.event, "event"),
        Fact("", sheet.round, "round"),
        Fact("", f"heat {sheet.heat}", "heat"),
        Fact("", f"announcement {sheet.number}", "announcement"),
        Fact("", f"announced {sheet.announced_at}", "time of announcement"),
    ]
    printed = Fact("", f"sealed {sheet.printed_at}", "time of sealing")
    foot = plan_foot(typesetter, paper, CAUTION, [whose, [printed]])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    _write_head(flow, sheet)
    write_table(flow, sheet.lines)
    _write_sentences(flow, sheet.qualified_title, "qualified", sheet.qualified, BODY + 1.0)
    _write_windows(flow, sheet)
    _write_sentences(flow, _why(sheet), "reasons", sheet.because, BODY)
    _write_notes(flow, "Remarks", "remarks", sheet.remarks, BODY)
    with beside_code(flow, sheet.head):
        _write_abbreviations(flow, sheet.abbreviations)
        _write_digest(flow, sheet)
    write_missing(flow)
    add_feet(flow, foot)
    title = f"Result \u2013 {shorten(sheet.event)} \u2013 heat {shorten(sheet.heat)}"
    subject = f"Announcement {sheet.number}, {shorten(sheet.meet)}, {shorten(sheet.date)}"
    return paint(flow.pages, paper, About(title, subject))


def _write_head(flow: Flow, sheet: ResultSheet) -> None:
    aside = [
        Fact("Announcement", str(sheet.number), "announcement"),
        Fact("Supersedes", sheet.supersedes, "superseded announcement"),
        Fact("Sealed", sheet.printed_at, "time of sealing"),
    ]
    write_title(flow, _title(sheet), aside)
    write_meet(flow, sheet)
    if sheet.superseded:
        with flow.frame(4.0, 1.8):
            flow.write([Segment(sheet.superseded, "later announcement", Weight.BOLD)], BODY + 3.0)
        flow.skip(GAP)
    large = BODY + 3.0
    write_cells(
        flow,
        [
            Cell(Fact("event", sheet.event, "event"), 0.36, large, Weight.BOLD),
            Cell(Fact("round", sheet.round, "round"), 0.2, large),
            Cell(Fact("heat", sheet.heat, "heat"), 0.14, large),
            Cell(Fact("announced", sheet.announced_at, "time of announcement"), 0.3, BODY + 1.0),
        ],
    )
    if sheet.time_corrected:
        corrected = Segment(sheet.time_corrected, "corrected time", Weight.BOLD)
        flow.write([corrected], BODY)
    if sheet.announced_by:
        flow.write(join_facts([Fact("announced by", sheet.announced_by, "announcer")]), BODY)
    flow.skip(GAP)


def _title(sheet: ResultSheet) -> str:
    if sheet.number == 1:
        return "Result"
    return "Amended result" if sheet.is_amended else "Result, announced again"


def _write_windows(flow: Flow, sheet: ResultSheet) -> None:
    large = BODY + 2.0
    _write_notes(flow, WINDOWS, "windows", sheet.windows, large)
    if sheet.final_note:
        if not sheet.windows:
            _write_heading(flow, WINDOWS)
        flow.write([Segment(sheet.final_note, "windows", Weight.BOLD)], large)


def _why(sheet: ResultSheet) -> str:
    if sheet.number == 1:
        return "What was decided before"
    return f"Why it was {'amended' if sheet.is_amended else 'announced again'}"


def _write_notes(flow: Flow, heading: str, field: str, notes: Sequence[str], size: float) -> None:
    if not notes:
        return
    _write_heading(flow, heading)
    for note in notes:
        flow.write([Segment(note, field)], size)


def _write_sentences(
    flow: Flow, heading: str, field: str, sentences: Sequence[str], size: float
) -> None:
    """Like notes, but none of it in the words of people."""
    if not sentences:
        return
    _write_heading(flow, heading)
    for sentence in sentences:
        flow.write(say(sentence, field), size)


def _write_heading(flow: Flow, heading: str) -> None:
    flow.skip(GAP)
    if heading:
        flow.label(heading, BODY)


def _write_abbreviations(flow: Flow, abbreviations: Sequence[tuple[str, str]]) -> None:
    if not abbreviations:
        return
    flow.skip(GAP)
    facts = [Fact(short, long, "abbreviations") for short, long in abbreviations]
    flow.write(join_facts(facts), LABEL + 0.6)


def _write_digest(flow: Flow, sheet: ResultSheet) -> None:
    flow.skip(GAP)
    facts = [
        *([Fact("Signed", sheet.signed, "signature")] if sheet.signed else []),
        Fact(SHA256_OF_STATEMENT, sheet.digest, "digest"),
    ]
    for fact in facts:
        flow.write(join_facts([fact]), LABEL)
    write_record_head(flow, sheet.head)

"""What does the notice board show for one announcement of a result?

The annotated result as a table, then what goes with it: remarks, the windows for protests and
appeals, and what the abbreviations mean. Times and annotations come formatted; the form adds
nothing to them. A row that is taller than a page goes on over the next one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.sheet_parts import (
    BODY,
    GAP,
    LABEL,
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
from app.forms.typesetting import Segment, Typesetter

CAUTION = (
    "This sheet shows the announcement as it was recorded; the appointed officials decide under "
    "the current edition of their own rule book."
)
CELL_GAP = 10.0
ROW = BODY + 1.5


@dataclass(frozen=True, slots=True)
class ResultLine:
    """One team's line in the result."""

    place: str
    lane: str
    bib: str
    team: str
    affiliation: str
    time: str
    annotation: str


@dataclass(frozen=True, slots=True)
class ResultSheet:
    """One announcement, with times and marks already in words.

    `superseded` tells that a later announcement stands; it is empty while this one does.
    """

    meet: str
    place: str
    date: str
    time_zone: str
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
    record_head: str
    digest: str


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column of the result: its heading and its share of the width."""

    heading: str
    share: float
    align: Align = Align.LEFT
    weight: Weight = Weight.REGULAR


TABLE = (
    TableColumn("place", 0.06, Align.RIGHT, Weight.BOLD),
    TableColumn("lane", 0.055, Align.RIGHT),
    TableColumn("bib", 0.07, Align.RIGHT),
    TableColumn("team", 0.26, weight=Weight.BOLD),
    TableColumn("affiliation", 0.285),
    TableColumn("time", 0.12, Align.RIGHT, Weight.BOLD),
    TableColumn("note", 0.15, weight=Weight.BOLD),
)


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
    foot = plan_foot(typesetter, paper, CAUTION, [whose])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    _write_head(flow, sheet)
    _write_table(flow, sheet.lines)
    _write_notes(flow, "Protests and appeals", "windows", sheet.windows, BODY + 2.0)
    _write_notes(flow, "Remarks", "remarks", sheet.remarks, BODY)
    _write_abbreviations(flow, sheet.abbreviations)
    _write_seal(flow, sheet)
    write_missing(flow)
    add_feet(flow, foot)
    title = f"Result \u2013 {shorten(sheet.event)} \u2013 heat {shorten(sheet.heat)}"
    subject = f"Announcement {sheet.number}, {shorten(sheet.meet)}, {shorten(sheet.date)}"
    return paint(flow.pages, paper, About(title, subject))


def _write_head(flow: Flow, sheet: ResultSheet) -> None:
    aside = [
        Fact("Announcement", str(sheet.number), "announcement"),
        Fact("Supersedes", sheet.supersedes, "superseded announcement"),
    ]
    write_title(flow, _title(sheet), aside)
    meet = [
        Fact("", sheet.meet, "meet"),
        Fact("", sheet.place, "place"),
        Fact("", sheet.date, "date"),
        Fact("times in", sheet.time_zone, "time zone"),
    ]
    flow.write(join_facts(meet), BODY)
    flow.skip(3.0)
    flow.rule(1.2)
    flow.skip(4.0)
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
    if sheet.announced_by:
        flow.write(join_facts([Fact("announced by", sheet.announced_by, "announcer")]), BODY)
    flow.skip(GAP)


def _title(sheet: ResultSheet) -> str:
    if sheet.number == 1:
        return "Result"
    return "Amended result" if sheet.is_amended else "Result, announced again"


def _write_table(flow: Flow, lines: Sequence[ResultLine]) -> None:
    if not lines:
        flow.write([Segment("The result has no lines.", "result")], BODY)
    page = -1
    for line in lines:
        cells = _set_row(flow, line)
        # A row stays whole if it is no taller than a page; its heading comes again on a new page.
        flow.need(min(_tallest(cells) + 3 * BODY, flow.bottom - flow.sheet.top))
        if page != len(flow.pages):
            _write_headings(flow)
        flow.y += 2.5
        flow.columns(cells)
        flow.y += 2.5
        flow.rule(0.3)
        page = len(flow.pages)


def _tallest(cells: Sequence[Column]) -> float:
    return max(sum(line.height for line in cell.lines) for cell in cells)


def _write_headings(flow: Flow) -> None:
    headings = [
        Column(x, width, flow.set_lines([Segment(column.heading, "labels")], LABEL, width))
        for column, x, width in _stand_columns(flow)
    ]
    aligned = [
        Column(cell.x, cell.width, cell.lines, column.align, LABEL_GREY)
        for cell, column in zip(headings, TABLE, strict=True)
    ]
    flow.columns(aligned)
    flow.rule(0.9)


def _set_row(flow: Flow, line: ResultLine) -> list[Column]:
    texts = (
        (line.place, "places"),
        (line.lane, "lanes"),
        (line.bib, "bibs"),
        (line.team, f"team in lane {line.lane}"),
        (line.affiliation, f"affiliation in lane {line.lane}"),
        (line.time, "times"),
        (line.annotation, f"note in lane {line.lane}"),
    )
    cells: list[Column] = []
    for (text, field), (column, x, width) in zip(texts, _stand_columns(flow), strict=True):
        lines = flow.set_lines([Segment(text, field, column.weight)], ROW, width)
        cells.append(Column(x, width, lines, column.align))
    return cells


def _stand_columns(flow: Flow) -> list[tuple[TableColumn, float, float]]:
    places: list[tuple[TableColumn, float, float]] = []
    x = flow.left
    for column in TABLE:
        places.append((column, x, flow.width * column.share - CELL_GAP))
        x += flow.width * column.share
    return places


def _write_notes(flow: Flow, heading: str, field: str, notes: Sequence[str], size: float) -> None:
    if not notes:
        return
    flow.skip(GAP)
    flow.label(heading, BODY)
    for note in notes:
        flow.write([Segment(note, field)], size)


def _write_abbreviations(flow: Flow, abbreviations: Sequence[tuple[str, str]]) -> None:
    if not abbreviations:
        return
    flow.skip(GAP)
    facts = [Fact(short, long, "abbreviations") for short, long in abbreviations]
    flow.write(join_facts(facts), LABEL + 0.6)


def _write_seal(flow: Flow, sheet: ResultSheet) -> None:
    flow.skip(GAP)
    facts = [
        Fact("Digest of this announcement", sheet.digest, "digest"),
        Fact("Record head", sheet.record_head, "record head"),
    ]
    for fact in facts:
        flow.write(join_facts([fact]), LABEL)

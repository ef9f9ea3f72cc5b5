"""How does a result stand as a table: one row a team, one column a fact?

Columns that no line fills are left out; team and affiliation share what the others leave. A row
that is taller than a page goes on over the next one.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import BODY, LABEL
from app.forms.structure import DECORATION
from app.forms.typesetting import Segment

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
    qualification: str = ""
    points: str = ""


@dataclass(frozen=True, slots=True)
class TableColumn:
    """A column of the result: what it shows, its heading and its share of the width.

    `field` is what a note on missing letters calls it. A column that can be spared is left out
    where no line fills it; one that gives way takes what the others leave.
    """

    shows: Callable[[ResultLine], str]
    heading: str
    share: float
    field: str
    align: Align = Align.LEFT
    weight: Weight = Weight.REGULAR
    can_be_spared: bool = False
    gives_way: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Where a column stands on the sheet, in points."""

    column: TableColumn
    x: float
    width: float


RIGHT, BOLD = Align.RIGHT, Weight.BOLD
TABLE = (
    TableColumn(attrgetter("place"), "place", 0.06, "places", RIGHT, BOLD),
    TableColumn(attrgetter("lane"), "lane", 0.055, "lanes", RIGHT),
    TableColumn(attrgetter("bib"), "bib", 0.07, "bibs", RIGHT),
    TableColumn(attrgetter("team"), "team", 0.26, "team in lane {}", weight=BOLD, gives_way=True),
    TableColumn(
        attrgetter("affiliation"), "affiliation", 0.285, "affiliation in lane {}", gives_way=True
    ),
    TableColumn(attrgetter("time"), "time", 0.12, "times", RIGHT, BOLD),
    TableColumn(
        attrgetter("qualification"),
        "Q / q",
        0.055,
        "qualification",
        weight=BOLD,
        can_be_spared=True,
    ),
    TableColumn(attrgetter("annotation"), "note", 0.15, "note in lane {}", weight=BOLD),
    TableColumn(attrgetter("points"), "points", 0.065, "points", RIGHT, can_be_spared=True),
)


def write_table(flow: Flow, lines: Sequence[ResultLine]) -> None:
    """One row a team; the heading comes again on each page."""
    if not lines:
        flow.write([Segment("The result has no lines.", "result")], BODY)
    places = _stand_columns(flow, _choose_columns(lines))
    with flow.inside(flow.tag("Table")):
        _write_rows(flow, places, lines)


def _write_rows(flow: Flow, places: Sequence[Place], lines: Sequence[ResultLine]) -> None:
    page = -1
    for line in lines:
        cells = _set_row(flow, places, line)
        # A row stays whole if it is no taller than a page; its heading comes again on a new page.
        flow.need(min(_tallest(cells) + 3 * BODY, flow.bottom - flow.sheet.top))
        if page != len(flow.pages):
            _write_headings(flow, places, is_again=page > 0)
        flow.y += 2.5
        flow.columns(_tagged(flow, cells, "TD"))
        flow.y += 2.5
        flow.rule(0.3)
        page = len(flow.pages)


def _tagged(flow: Flow, cells: Sequence[Column], role: str) -> list[Column]:
    with flow.inside(flow.tag("TR")):
        return [replace(cell, tag=flow.tag(role)) for cell in cells]


def _choose_columns(lines: Sequence[ResultLine]) -> list[TableColumn]:
    """The columns of this result; those that give way do so in proportion."""
    chosen = [
        column
        for column in TABLE
        if not column.can_be_spared or any(column.shows(line) for line in lines)
    ]
    wide = sum(column.share for column in chosen if column.gives_way)
    left = 1.0 - sum(column.share for column in chosen if not column.gives_way)
    return [
        replace(column, share=column.share * left / wide) if column.gives_way else column
        for column in chosen
    ]


def _stand_columns(flow: Flow, columns: Iterable[TableColumn]) -> list[Place]:
    places: list[Place] = []
    x = flow.left
    for column in columns:
        places.append(Place(column, x, flow.width * column.share - CELL_GAP))
        x += flow.width * column.share
    return places


def _tallest(cells: Sequence[Column]) -> float:
    return max(sum(line.height for line in cell.lines) for cell in cells)


def _write_headings(flow: Flow, places: Sequence[Place], *, is_again: bool) -> None:
    headings: list[Column] = []
    for place in places:
        words = [Segment(place.column.heading, "labels")]
        lines = flow.set_lines(words, LABEL, place.width)
        headings.append(Column(place.x, place.width, lines, place.column.align, LABEL_GREY))
    if is_again:
        flow.columns([replace(heading, tag=DECORATION) for heading in headings])
    else:
        flow.columns(_tagged(flow, headings, "TH"))
    flow.rule(0.9)


def _set_row(flow: Flow, places: Sequence[Place], line: ResultLine) -> list[Column]:
    cells: list[Column] = []
    for place in places:
        column = place.column
        field = column.field.format(line.lane)
        words = [Segment(column.shows(line), field, column.weight)]
        lines = flow.set_lines(words, ROW, place.width)
        cells.append(Column(place.x, place.width, lines, column.align))
    return cells

"""How do facts stand in rows and columns, over as many pages as they need?

The headings come again on each page. A row stays whole where a page can hold it, else it goes on
line by line. What a cell says is left to the forms.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.forms.flow import LABEL_GREY, Column, Flow
from app.forms.fonts import Weight
from app.forms.sheet_parts import BODY, LABEL
from app.forms.typesetting import Segment

CELL_GAP = 7.0
ROW_GAP = 1.6
ROOM_FOR_HEADINGS = 3 * BODY
ROOM_FOR_A_TITLE = 2 * BODY


@dataclass(frozen=True, slots=True)
class Heading:
    """A column: what stands above it, its share of the width, and the weight of its cells."""

    words: str
    share: float
    weight: Weight = Weight.REGULAR


@dataclass(frozen=True, slots=True)
class PlainTable:
    """Columns, and rows of as many cells; `field` is what a note on missing letters calls it. A
    title stays with the headings and the first row.
    """

    field: str
    headings: Sequence[Heading]
    rows: Sequence[Sequence[str]]
    size: float = BODY - 1.0
    title: str = ""


def write_plain_table(flow: Flow, table: PlainTable) -> None:
    """All rows, ruled off from each other; nothing for no rows."""
    places = list(_stand(flow, table.headings))
    page = -1
    for row in table.rows:
        cells = _set(flow, table, places, row)
        tallest = max(sum(line.height for line in cell.lines) for cell in cells)
        is_first = page < 0 and bool(table.title)
        above = ROOM_FOR_HEADINGS + (ROOM_FOR_A_TITLE if is_first else 0.0)
        flow.need(min(tallest + above, flow.bottom - flow.sheet.top))
        if is_first:
            flow.label(table.title, BODY)
        if page != len(flow.pages):
            _write_headings(flow, table, places)
        flow.y += ROW_GAP
        flow.columns(cells)
        flow.y += ROW_GAP
        flow.rule(0.3)
        page = len(flow.pages)


def _stand(flow: Flow, headings: Sequence[Heading]) -> Iterator[tuple[float, float]]:
    """Where each column begins, and how wide it is."""
    x = flow.left
    for heading in headings:
        yield x, flow.width * heading.share - CELL_GAP
        x += flow.width * heading.share


def _write_headings(flow: Flow, table: PlainTable, places: Sequence[tuple[float, float]]) -> None:
    columns = [
        Column(
            x, width, flow.set_lines([Segment(one.words, "labels")], LABEL, width), grey=LABEL_GREY
        )
        for one, (x, width) in zip(table.headings, places, strict=True)
    ]
    flow.columns(columns)
    flow.rule(0.9)


def _set(
    flow: Flow, table: PlainTable, places: Sequence[tuple[float, float]], row: Sequence[str]
) -> list[Column]:
    return [
        Column(
            x, width, flow.set_lines([Segment(words, table.field, one.weight)], table.size, width)
        )
        for one, (x, width), words in zip(table.headings, places, row, strict=True)
    ]

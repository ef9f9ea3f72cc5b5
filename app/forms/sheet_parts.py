"""What every sheet of ours has: a head, cells of facts, notes on missing letters, and a foot.

The foot says on each page which case or announcement it belongs to, which page of how many it is,
and what a reader must not take it for. Letters that could not be printed are named in plain words.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import SetText, Stroke
from app.forms.paper import Paper
from app.forms.reading_order import part_names
from app.forms.typesetting import Line, Segment, Typesetter, name_missing

TITLE = 17.0
BODY = 9.0
SMALL = 7.2
LABEL = 6.8
FOOT = 6.8
GAP = 10.0
LINES_IN_A_CELL = 3
LETTERS_IN_A_FOOT = 70
WIDEST_IN_A_FOOT = 0.8  # of the text width; the rest is for the number of the page
NOT_GIVEN = "\u2013"
IN_FULL_BELOW = "(in full below)"

# A sheet that is a little too long for one page is set a little smaller, down to about 8 points.
A_LITTLE_TOO_LONG = 2  # pages
SCALES = (1.0, 0.94, 0.88)


@dataclass(frozen=True, slots=True)
class Fact:
    """A label of ours and the value that goes with it."""

    label: str
    value: str
    field: str


@dataclass(frozen=True, slots=True)
class Cell:
    """A fact in a grid: its share of the width, and the size of its value."""

    fact: Fact
    share: float
    size: float = BODY
    weight: Weight = Weight.REGULAR


def fit_pages(plan: Callable[[float], Flow]) -> Flow:
    """What is planned, on one page where a slightly smaller size brings it there."""
    flow = plan(SCALES[0])
    if len(flow.pages) != A_LITTLE_TOO_LONG:
        return flow
    smaller = (plan(scale) for scale in SCALES[1:])
    return next((one for one in smaller if len(one.pages) == 1), flow)


def join_facts(facts: Iterable[Fact], weight: Weight = Weight.REGULAR) -> list[Segment]:
    """The facts that have a value, one after another in one paragraph."""
    segments: list[Segment] = []
    for fact in facts:
        if not fact.value:
            continue
        if segments:
            segments.append(Segment("  \u00b7  ", fact.field))
        if fact.label:
            segments.append(Segment(f"{fact.label}: ", fact.field))
        segments.append(Segment(fact.value, fact.field, weight))
    return segments


def say(sentence: str, field: str) -> list[Segment]:
    """A sentence of ours as it is set: what people wrote themselves keeps its own direction."""
    return [Segment(part, field) for part in part_names(sentence)]


def write_title(flow: Flow, title: str, aside: Sequence[Fact], number: str = "") -> None:
    """The sheet's name at the left, what tells it from others at the right.

    A number by which people call the sheet stands as large as its name.
    """
    heading = flow.tag("H1")
    wide = flow.width * 0.55
    narrow = flow.width - wide
    name = flow.set_lines([Segment(title, "title", Weight.BOLD)], TITLE, wide)
    notes: list[Line] = []
    if number:
        notes += flow.set_lines([Segment(number, "number", Weight.BOLD)], TITLE, narrow)
    for fact in aside:
        notes += flow.set_lines(join_facts([fact], Weight.BOLD), SMALL + 0.8, narrow)
    if len(notes) > LINES_IN_A_CELL:  # too long to stand beside the title
        flow.columns([Column(flow.left, flow.width, name, tag=heading)])
        flow.columns([Column(flow.left, flow.width, notes)])
        return
    top = flow.y
    flow.columns([Column(flow.left + wide, narrow, notes, Align.RIGHT)])
    below, flow.y = flow.y, top
    flow.columns([Column(flow.left, wide, name, tag=heading)])
    flow.y = max(flow.y, below)


def write_cells(flow: Flow, cells: Sequence[Cell]) -> None:
    """One row of facts; what is too long for its cell follows over the whole width."""
    labels: list[Column] = []
    values: list[Column] = []
    long: list[Fact] = []
    x = flow.left
    for cell in cells:
        width = flow.width * cell.share - 6.0
        label = flow.set_lines([Segment(cell.fact.label, "labels")], LABEL, width)
        lines = flow.set_lines([_value(cell)], cell.size, width)
        if len(lines) > LINES_IN_A_CELL:
            long.append(cell.fact)
            lines = flow.set_lines([Segment(IN_FULL_BELOW, "labels")], BODY, width)
        tag = flow.tag()
        labels.append(Column(x, width, label, grey=LABEL_GREY, tag=tag))
        values.append(Column(x, width, lines, tag=tag))
        x += flow.width * cell.share
    flow.need(4 * BODY * flow.scale)
    flow.columns(labels)
    flow.columns(values)
    for fact in long:
        flow.write(join_facts([fact]), BODY)


def _value(cell: Cell) -> Segment:
    return Segment(cell.fact.value or NOT_GIVEN, cell.fact.field, cell.weight)


def write_missing(flow: Flow) -> None:
    """Which characters could not be printed, and in which field; nothing when all could."""
    notes = name_missing(flow.typesetter)
    if not notes:
        return
    flow.skip(GAP / 2)
    words = f"{'; '.join(notes)}. Each stands as an empty box, or is left out if it has no shape."
    flow.write(
        [Segment("Could not be printed: ", "notes", Weight.BOLD), Segment(words, "notes")], SMALL
    )


def write_missing_apart(flow: Flow) -> None:
    """The same on a page of its own, behind pages that are cut up; none where all could."""
    if flow.typesetter.missing:
        flow.need(inf)
        write_missing(flow)


@dataclass(frozen=True, slots=True)
class Foot:
    """The lines below every page."""

    caution: tuple[Line, ...]
    whose: tuple[Line, ...]

    @property
    def height(self) -> float:
        """What the foot takes from the page, in points."""
        return sum(line.height for line in (*self.caution, *self.whose)) + 10.0


def plan_foot(
    typesetter: Typesetter, paper: Paper, caution: str, whose: Iterable[Iterable[Fact]]
) -> Foot:
    """Set the foot first, since what flows must end above it.

    `whose` tells what the sheet belongs to, a paragraph each; no fact is left out, and each is
    shortened for itself, so that a long name takes no room from another.
    """
    width = paper.sheet.text_width
    lines: list[Line] = []
    for facts in whose:
        words = join_facts(shorten_facts(facts), Weight.BOLD)
        lines += typesetter.set_lines(words, FOOT, width * WIDEST_IN_A_FOOT)
    return Foot(tuple(typesetter.set_lines([Segment(caution, "foot")], FOOT, width)), tuple(lines))


def shorten_facts(facts: Iterable[Fact]) -> list[Fact]:
    """The facts, each on one line and none longer than a foot can take."""
    return [replace(fact, value=shorten(fact.value)) for fact in facts]


def shorten(text: str) -> str:
    """A text for the foot of a page; what is longer stands in full on the sheet itself."""
    line = " ".join(text.split())
    return line if len(line) <= LETTERS_IN_A_FOOT else f"{line[:LETTERS_IN_A_FOOT]}\u2026"


def add_feet(flow: Flow, foot: Foot) -> None:
    """Write the foot on every page, now that their number is known; it is read aloud once."""
    sheet, right = flow.sheet, flow.left + flow.width
    for number, page in enumerate(flow.pages, 1):
        y = sheet.height - sheet.foot - foot.height + 6.0
        is_last = number == len(flow.pages)
        caution, which = (flow.tag(), flow.tag()) if is_last else (None, None)
        page.append(Stroke(flow.left, y, right, y, 0.5))
        y += 3.0
        for line in foot.caution:
            page.append(SetText(flow.left, y + line.top, line, LABEL_GREY, caution))
            y += line.height
        count = f"page {number} of {len(flow.pages)}"
        pages = flow.typesetter.set_line(count, "foot", FOOT, Weight.BOLD)
        page.append(SetText(right - pages.width, y + pages.top, pages))
        for line in foot.whose:
            page.append(SetText(flow.left, y + line.top, line, tag=which))
            y += line.height

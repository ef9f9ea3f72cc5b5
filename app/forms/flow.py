"""Where on which page does each line stand?

A flow is a pen that moves down the page and on to the next one. Whatever is given to it is placed
in full: text, rows of columns and framed parts continue line by line, so nothing is too tall for a
page. What the lines say is left to the forms, how they are drawn to `painting`.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from enum import Enum

from app.forms.fonts import Weight
from app.forms.painting import Area, Page, SetText, Shape, Stroke, box
from app.forms.paper import Paper, Sheet
from app.forms.structure import Tag
from app.forms.typesetting import Line, Segment, Typesetter

LABEL_GREY = 0.3
RULE = 0.5
INDENT = 14.0
LEAST_IN_A_FRAME = 60.0


class Align(Enum):
    """Where a line stands in its column."""

    LEFT = 0.0
    CENTRE = 0.5
    RIGHT = 1.0


@dataclass(frozen=True, slots=True)
class Column:
    """Lines that share a row with other columns; x and width in points."""

    x: float
    width: float
    lines: Sequence[Line]
    align: Align = Align.LEFT
    grey: float = 0.0
    tag: Tag | None = None


@dataclass(slots=True)
class Flow:
    """The pages so far, and the pen's place on the last one (points from its top)."""

    paper: Paper
    foot_height: float
    scale: float = 1.0
    typesetter: Typesetter = field(default_factory=Typesetter)
    pages: list[Page] = field(default_factory=lambda: [[]])
    y: float = field(init=False)
    left: float = field(init=False)
    width: float = field(init=False)
    within: Tag | None = None
    tags: int = 0

    def __post_init__(self) -> None:
        self.y = self.sheet.top
        self.left = self.sheet.side
        self.width = self.sheet.text_width

    @property
    def sheet(self) -> Sheet:
        """The sheet that is printed on."""
        return self.paper.sheet

    @property
    def bottom(self) -> float:
        """The lowest place for what flows; the foot of the page comes below."""
        return self.sheet.height - self.sheet.foot - self.foot_height

    def need(self, height: float) -> None:
        """Turn the page unless this height is left on it; a new page always takes what comes."""
        if self.y + height > self.bottom and self.y > self.sheet.top:
            self.pages.append([])
            self.y = self.sheet.top

    def fits(self, write: Callable[["Flow"], None]) -> bool:
        """Write it if the page holds it whole; else leave the page as it was."""
        pages, shapes, y = len(self.pages), len(self.pages[-1]), self.y
        write(self)
        if len(self.pages) == pages:
            return True
        del self.pages[pages:], self.pages[-1][shapes:]
        self.y = y
        return False

    def keep(self, write: Callable[["Flow"], None]) -> None:
        """Write it on one page; what this page does not hold begins the next one."""
        if not self.fits(write):
            self.need(math.inf)
            write(self)

    def skip(self, height: float) -> None:
        """Leave room, though none at the top of a further page."""
        if len(self.pages) == 1 or self.y > self.sheet.top:
            self.y += height * self.scale

    def tag(self, role: str = "P", says: str = "") -> Tag:
        """An element of the sheet's structure, behind all those that were made before it."""
        self.tags += 1
        return Tag(role, self.within, self.tags, says)

    @contextmanager
    def inside(self, tag: Tag) -> Iterator[None]:
        """What is tagged meanwhile is part of an element."""
        outer, self.within = self.within, tag
        yield
        self.within = outer

    def put(self, *shapes: Shape) -> None:
        """Draw on the page the pen is on."""
        self.pages[-1].extend(shapes)

    def rule(self, thickness: float = RULE) -> None:
        """A line over the whole width."""
        self.put(Stroke(self.left, self.y, self.left + self.width, self.y, thickness))

    def set_lines(self, segments: Sequence[Segment], size: float, width: float) -> list[Line]:
        """Lines in a size of the form's scale."""
        return self.typesetter.set_lines(segments, size * self.scale, width)

    def write(
        self,
        segments: Sequence[Segment],
        size: float,
        indent: float = 0.0,
        grey: float = 0.0,
        role: str = "P",
    ) -> None:
        """Text over the whole width; it starts from the right where its script does."""
        tag = self.tag(role)
        lines = self.set_lines(segments, size, self.width - indent)
        for line in lines:
            align = Align.RIGHT if line.from_right else Align.LEFT
            width = self.width - indent
            self.columns([Column(self.left + indent, width, [line], align, grey, tag)])

    def number(self, number: int, segments: Sequence[Segment], size: float) -> None:
        """Text behind a number that stands out from it."""
        self.item(str(number), segments, size)

    def item(self, sign: str, segments: Sequence[Segment], size: float) -> None:
        """Text behind a sign of ours that stands out from it, such as a dash."""
        signs = self.set_lines([Segment(sign, "numbers", Weight.BOLD)], size, self.width)
        lines = self.set_lines(segments, size, self.width - INDENT)
        tag = self.tag()
        text = Column(self.left + INDENT, self.width - INDENT, lines, tag=tag)
        self.columns([Column(self.left, INDENT, signs, tag=tag), text])

    def label(self, text: str, size: float) -> None:
        """A heading of ours; the lines that follow it stay with it."""
        self.need(4 * size * self.scale)
        self.write([Segment(text, "headings", Weight.BOLD)], size, role="H2")

    def columns(self, columns: Sequence[Column]) -> None:
        """A row of columns, line by line, so that a tall row goes on over the page.

        A column without a tag is a paragraph of its own.
        """
        columns = [one if one.tag is not None else replace(one, tag=self.tag()) for one in columns]
        for place in range(max((len(column.lines) for column in columns), default=0)):
            row = [(column, column.lines[place]) for column in columns if place < len(column.lines)]
            top = max(line.top for _, line in row)
            height = top + max(line.bottom for _, line in row)
            self.need(height)
            for column, line in row:
                self.put(_stand(column, line, self.y + top))
            self.y += height

    @contextmanager
    def inset(self, indent: float) -> Iterator[None]:
        """A narrower column for a while."""
        self.left, self.width = self.left + indent, self.width - 2 * indent
        yield
        self.left, self.width = self.left - indent, self.width + 2 * indent

    @contextmanager
    def frame(self, padding: float, thickness: float) -> Iterator[None]:
        """A frame around what is written meanwhile, on every page it reaches."""
        self.need(LEAST_IN_A_FRAME)
        first, top = len(self.pages) - 1, self.y
        left, width = self.left, self.width
        self.y += padding
        with self.inset(padding + thickness):
            yield
        self.y += padding
        for number in range(first, len(self.pages)):
            start = top if number == first else self.sheet.top - padding
            end = self.y if number == len(self.pages) - 1 else self.bottom + thickness
            corners = box(left, start, width, end - start)
            self.pages[number].append(Area(corners, thickness=thickness))


def _stand(column: Column, line: Line, baseline: float) -> SetText:
    spare = max(column.width - line.width, 0.0)
    return SetText(column.x + spare * column.align.value, baseline, line, column.grey, column.tag)

"""What does the crew's leader read on the evening after a meet? Charts in black and white, and the
counts behind them, in tables.

It draws what it is given, in words; what is counted and how is for `meet_report/figures.py`. Kinds
of a bar differ by their filling, and each says its number, which stands above a part that it would
hide: nothing rests on colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

from app.forms.bars import BarSize, Part, lay_out
from app.forms.flow import Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import About, Area, Disc, SetText, Shape, Stroke, box, paint
from app.forms.paper import Paper
from app.forms.plain_table import PlainTable, write_plain_table
from app.forms.sheet_head import MeetHead, write_meet
from app.forms.sheet_parts import (
    BODY,
    GAP,
    Fact,
    add_feet,
    plan_foot,
    say,
    shorten,
    write_missing,
    write_title,
)
from app.forms.typesetting import Line, Segment, Typesetter

CAUTION = "Figures to learn from, not to judge people by: numbers are small, see the intervals."
SIZE = 8.2
ROW = 15.0
BAR = 9.0
LABELS = 0.26  # of the width
WORDS = 0.34  # of the width, beside an interval
NUMBERS = 10.0  # above a bar, where it has some there
SAMPLE = 6.0
AROUND = 3.0  # a number, white
HATCH = 3.0
STRIPES: Final = 3  # across a part, whatever its size
KINDS: Final = ("confirmed", "dismissed", "set aside later", "open", "withdrawn")
GREYS: Final = (0.25, 0.8, 1.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Bar:
    """The reports from one place, in the order of KINDS."""

    label: str
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Interval:
    """A share with its interval, between 0 and 1, and the same in words."""

    label: str
    words: str
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class MeetReportSheet(MeetHead):
    """A meet in figures; `whose` says whose they are."""

    whose: str
    printed_at: str
    sentences: tuple[str, ...]
    bars: tuple[Bar, ...]
    intervals: tuple[Interval, ...]
    tables: tuple[PlainTable, ...]
    notes: tuple[str, ...]


def draw_meet_report(sheet: MeetReportSheet, paper: Paper) -> bytes:
    """The report as a PDF, on as many pages as its tables need."""
    typesetter = Typesetter()
    whose = [
        Fact("", sheet.meet, "meet"),
        Fact("figures of", sheet.whose, "whose figures"),
        Fact("printed", sheet.printed_at, "time of printing"),
    ]
    foot = plan_foot(typesetter, paper, CAUTION, [whose])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    _write(flow, sheet)
    write_missing(flow)
    add_feet(flow, foot)
    title = f"Meet report – {shorten(sheet.meet)}"
    return paint(flow.pages, paper, About(title, f"Printed {sheet.printed_at}"))


def _write(flow: Flow, sheet: MeetReportSheet) -> None:
    write_title(flow, "Meet report", [Fact("figures of", sheet.whose, "whose figures")])
    write_meet(flow, sheet)
    for sentence in sheet.sentences:
        flow.write(say(sentence, "figures"), BODY)
    if sheet.bars:
        flow.skip(GAP)
        flow.keep(partial(_draw_bars, bars=sheet.bars))
    if sheet.intervals:
        flow.skip(GAP)
        flow.keep(partial(_draw_intervals, intervals=sheet.intervals))
    for table in sheet.tables:
        flow.skip(GAP)
        write_plain_table(flow, table)
    flow.skip(GAP)
    for note in sheet.notes:
        flow.write(say(note, "notes"), SIZE)


def _draw_bars(flow: Flow, bars: Sequence[Bar]) -> None:
    flow.label("Reports by take-over and edge", BODY)
    with flow.inside(flow.tag("Figure", bars_in_words(bars))):
        _draw_key(flow)
        size = BarSize(
            flow.width * (1 - LABELS),
            max(sum(one.counts) for one in bars),
            lambda number: _number(flow, number).width,
            AROUND,
            SAMPLE + AROUND,
        )
        for one in bars:
            _draw_bar(flow, one.label, lay_out(one.counts, size))


def _draw_bar(flow: Flow, label: str, parts: Sequence[Part]) -> None:
    numbers = NUMBERS if any(part.is_above for part in parts) else 0.0
    flow.y += numbers
    _label(flow, label)
    for part in parts:
        _draw_part(flow, part)
    flow.y += ROW


def bars_in_words(bars: Sequence[Bar]) -> str:
    """The same for those who do not see it."""
    told = (
        f"{one.label}: "
        + ", ".join(f"{count} {kind}" for count, kind in zip(one.counts, KINDS, strict=True))
        for one in bars
    )
    return f"Bars of reports by take-over and edge. {'; '.join(told)}."


def _draw_key(flow: Flow) -> None:
    x = flow.left + flow.width * LABELS
    for kind, words in enumerate(KINDS):
        _fill(flow, (x, flow.y + (ROW - BAR) / 2), (BAR, BAR), kind)
        _word(flow, words, x + BAR + 4.0)
        x += flow.width * (1 - LABELS) / len(KINDS)
    flow.y += ROW


def _draw_part(flow: Flow, part: Part) -> None:
    """A part of a bar with its number: on white, or above it behind a sample of the filling."""
    left, top = flow.left + flow.width * LABELS, flow.y + (ROW - BAR) / 2
    line = _number(flow, str(part.count))
    _fill(flow, (left + part.left, top), (part.width, BAR), part.kind)
    x, end = left + part.number_left, left + part.number_left + part.number_width
    if part.is_above:
        _fill(flow, (x, top - SAMPLE - 2.5), (SAMPLE, SAMPLE), part.kind)
        flow.put(SetText(end - line.width, top - 2.5, line, tag=flow.within))
    else:
        flow.put(Area(box(x, top + 0.4, end - x, BAR - 0.8), 1.0))
        _word(flow, str(part.count), x + AROUND / 2, Weight.BOLD)


def _number(flow: Flow, number: str) -> Line:
    return flow.typesetter.set_line(number, "the chart", SIZE, Weight.BOLD)


def _fill(flow: Flow, corner: tuple[float, float], size: tuple[float, float], kind: int) -> None:
    """Dark, light, striped along the bar, empty or hatched."""
    flow.put(Area(box(*corner, *size), GREYS[kind], 0.6))
    if KINDS[kind] == "set aside later":
        flow.put(*_stripes(*corner, *size))
    if KINDS[kind] == "withdrawn":
        flow.put(*_hatching(*corner, *size))


def _stripes(x: float, top: float, width: float, tall: float) -> Iterator[Shape]:
    """Thick ones along the bar, which the narrowest part shows as well."""
    step = tall / STRIPES
    for stripe in range(STRIPES):
        y = top + step * (stripe + 0.5)
        yield Stroke(x, y, x + width, y, step * 0.4)


def _hatching(x: float, top: float, width: float, tall: float) -> Iterator[Shape]:
    """Strokes from the lower left, each ending where the part does."""
    at = HATCH
    while at < width + tall:
        begin = (x + max(0.0, at - tall), top + min(at, tall))
        end = (x + min(at, width), top + max(0.0, at - width))
        yield Stroke(*begin, *end, 0.4)
        at += HATCH


def _draw_intervals(flow: Flow, intervals: Sequence[Interval]) -> None:
    flow.label("Confirmed, of the reports that were ruled on", BODY)
    told = "; ".join(f"{one.label}: {one.words}" for one in intervals)
    with flow.inside(flow.tag("Figure", f"Shares as dots with their intervals. {told}.")):
        left = flow.left + flow.width * LABELS
        room = flow.width * (1 - LABELS - WORDS) - 12.0
        top = flow.y + ROW
        for percent in (0, 50, 100):
            line = flow.typesetter.set_line(f"{percent} %", "the chart", SIZE, Weight.REGULAR)
            _word(flow, f"{percent} %", left + room * percent / 100 - line.width / 2)
        flow.y = top
        for one in intervals:
            _draw_interval(flow, one, left, room)
            flow.y += ROW
        for percent in (0, 50, 100):
            x = left + room * percent / 100
            flow.put(Stroke(x, top, x, flow.y, 0.3, (1.0, 2.0)))


def _draw_interval(flow: Flow, one: Interval, left: float, room: float) -> None:
    _label(flow, one.label)
    middle = flow.y + ROW / 2
    low, high = left + room * one.low, left + room * one.high
    flow.put(Stroke(low, middle, high, middle, 1.2))
    flow.put(*(Stroke(x, middle - 3.0, x, middle + 3.0, 1.2) for x in (low, high)))
    flow.put(Disc(left + room * one.share, middle, 2.6, 0.0))
    _word(flow, one.words, left + room + 12.0)


def _label(flow: Flow, words: str) -> None:
    width = flow.width * LABELS - 6.0
    lines = flow.set_lines([Segment(words, "the chart")], SIZE, width)[:1]
    _stand(flow, Column(flow.left, width, lines, Align.LEFT, tag=flow.within))


def _word(flow: Flow, words: str, x: float, weight: Weight = Weight.REGULAR) -> None:
    line = flow.typesetter.set_line(words, "the chart", SIZE, weight)
    _stand(flow, Column(x, line.width, [line], tag=flow.within))


def _stand(flow: Flow, column: Column) -> None:
    """Text in the middle of the row that is drawn; the pen stays."""
    top = flow.y
    flow.y += (ROW - sum(line.height for line in column.lines)) / 2
    flow.columns([column])
    flow.y = top

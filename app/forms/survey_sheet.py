"""What do two people with a tape take out to a zone? A page a zone: where its lines lie, drawn to
scale, and for each line of each lane what the tape must show, with room for what it shows.

It draws what it is given; how lines and tapes are reckoned is for `rules/survey.py`. Everything of
a zone stands on one page: rows stand closer where lanes are many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from math import inf

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.painting import Stroke
from app.forms.paper import Paper
from app.forms.printed_sheet import Printed, draw_printed
from app.forms.sheet_head import write_meet
from app.forms.sheet_parts import (
    GAP,
    LABEL,
    Cell,
    Fact,
    say,
    write_cells,
    write_missing,
    write_title,
)
from app.forms.typesetting import Segment
from app.forms.zone_on_track import BELOW, ZoneOnTrack, draw_zone_on_track

ROW_SIZE = 7.8
LEADING = 1.27  # of a row's size
TALLEST_ROW = 14.0
SHARE_OF_DRAWING = 0.37  # of the page
LEAST_DRAWING = 90.0
WORDS_BELOW = 84.0  # the marks, how to measure, and the headings of the table
SIGNED = 24.0  # room for who measured, below the table
CAUTION = (
    "Measure while nobody runs: the track is closed to all others meanwhile. A surveyor's report, "
    "the rule book of the meet and its appointed officials decide, not this sheet."
)
HOW = (
    "Carry the mark straight across the track, at right angles to the lanes, to the inner edge of "
    "the lane that is measured: the outer edge of the line, or of the kerb, at its left. From "
    "there lay the tape straight to where the zone's line meets the same edge. Of the finish line "
    "take the edge nearer the start. The mark “inside” is the same line one lane inside, carried "
    "across like the others: so the tape lies along the edge between both lanes. Beyond the mark, "
    "on its other side, the tape counts as less than nothing (−)."
)


@dataclass(frozen=True, slots=True)
class SurveyRow:
    """A line in a lane, in words; empty is what is left to be written by hand."""

    lane: str
    line: str
    lies: str
    tape: str
    other_tape: str
    from_inside: str
    measured: str
    off: str
    is_wrong: bool


@dataclass(frozen=True, slots=True)
class SurveyedZone:
    """The zone of a take-over: its name, its measures and how its lines count, where it lies."""

    relay: str
    take_over: str
    measures: str
    edges: str
    drawing: ZoneOnTrack
    rows: tuple[SurveyRow, ...]


@dataclass(frozen=True, slots=True)
class SurveySheets(Printed):
    """The zones of a meet; `marks` says what the letters mean."""

    track: str
    tolerance: str
    marks: str
    zones: tuple[SurveyedZone, ...]


@dataclass(frozen=True, slots=True)
class _Head:
    """A column: what stands above it, its share of the width, and where its lines stand."""

    words: str
    share: float
    align: Align = Align.LEFT


HEADS = (
    _Head("lane", 0.055),
    _Head("line", 0.115),
    _Head("lies so far into", 0.215),
    _Head("tape from", 0.115, Align.RIGHT),
    _Head("or from", 0.115, Align.RIGHT),
    _Head("from the lane inside", 0.115, Align.RIGHT),
    _Head("measured, from", 0.14, Align.RIGHT),
    _Head("off by (+ too far on)", 0.13, Align.RIGHT),
)
"""The last two are to be written in."""
WRITTEN_IN = 2


def draw_survey_sheets(sheets: SurveySheets, paper: Paper) -> bytes:
    """The zones as a PDF, a page each."""
    return draw_printed(sheets, "Zone survey", CAUTION, paper, partial(_write, sheets=sheets))


def _write(flow: Flow, sheets: SurveySheets) -> None:
    for zone in sheets.zones:
        flow.need(inf)
        _write_zone(flow, sheets, zone)
    write_missing(flow)


def _write_zone(flow: Flow, sheets: SurveySheets, zone: SurveyedZone) -> None:
    write_title(flow, f"Zone survey: {zone.relay}, {zone.take_over}", [])
    write_meet(flow, sheets)
    write_cells(
        flow,
        [
            Cell(Fact("zone", zone.measures, "zone"), 0.34),
            Cell(Fact("track", sheets.track, "track"), 0.40),
            Cell(Fact("tolerance", sheets.tolerance, "tolerance"), 0.26),
        ],
    )
    flow.skip(GAP / 2)
    _draw(flow, zone)
    flow.write([Segment(sheets.marks, "marks", Weight.BOLD)], ROW_SIZE)
    flow.write(say(f"{HOW} {zone.edges}", "how to measure"), ROW_SIZE)
    flow.skip(3.0)
    _write_table(flow, zone.rows)
    _write_signed(flow)


def _draw(flow: Flow, zone: SurveyedZone) -> None:
    """The zone as large as the table below leaves room for."""
    table = len(zone.rows) * ROW_SIZE * LEADING
    below = table + SIGNED + BELOW + WORDS_BELOW
    room = min(flow.sheet.height * SHARE_OF_DRAWING, flow.bottom - flow.y - below)
    says = (
        f"The zone of {zone.take_over} of the {zone.relay} on the track, seen from above. The "
        "table below it says where each line lies."
    )
    draw_zone_on_track(flow, zone.drawing, says, max(room, LEAST_DRAWING))


def _write_table(flow: Flow, rows: Sequence[SurveyRow]) -> None:
    _write_row(flow, [head.words for head in HEADS], LABEL, LABEL_GREY)
    flow.rule(0.9)
    room = flow.bottom - flow.y - SIGNED
    height = min(TALLEST_ROW, room / max(len(rows), 1))
    before = ""
    for row in rows:
        if row.lane != before and before:
            flow.rule(0.4)
        _write_line(flow, row, height, is_first=row.lane != before)
        before = row.lane
    flow.rule(0.9)


def _write_line(flow: Flow, row: SurveyRow, height: float, *, is_first: bool) -> None:
    top = flow.y
    size = min(ROW_SIZE, height / LEADING)
    flow.y += (height - size * LEADING) / 2
    cells = [
        row.lane if is_first else "",
        *(row.line, row.lies, row.tape, row.other_tape, row.from_inside, row.measured, row.off),
    ]
    _write_row(flow, cells, size, 0.0, Weight.BOLD if row.is_wrong else Weight.REGULAR)
    flow.y = top + height
    for (x, width), written in list(zip(_places(flow), cells, strict=True))[-WRITTEN_IN:]:
        if not written:
            flow.put(Stroke(x + 4.0, flow.y - 2.0, x + width, flow.y - 2.0, 0.3, (0.8, 1.6)))


def _write_row(
    flow: Flow,
    cells: Sequence[str],
    size: float,
    grey: float,
    weight: Weight = Weight.REGULAR,
) -> None:
    flow.columns(
        [
            Column(
                x,
                width,
                flow.set_lines([Segment(words, "the table", weight)], size, width),
                head.align,
                grey,
            )
            for head, (x, width), words in zip(HEADS, _places(flow), cells, strict=True)
            if words
        ]
    )


def _places(flow: Flow) -> list[tuple[float, float]]:
    """Where each column begins, and how wide it is."""
    x, places = flow.left, []
    for head in HEADS:
        places.append((x, flow.width * head.share - 4.0))
        x += flow.width * head.share
    return places


def _write_signed(flow: Flow) -> None:
    """Who measured, when and with what, by hand."""
    flow.y += SIGNED - 10.0
    for words, share, width in (
        ("measured by", 0.0, 0.42),
        ("on", 0.45, 0.2),
        ("tape", 0.68, 0.32),
    ):
        x = flow.left + flow.width * share
        line = flow.typesetter.set_line(words, "labels", LABEL, Weight.REGULAR)
        flow.columns([Column(x, line.width, [line], grey=LABEL_GREY)])
        flow.y -= line.height
        right = x + flow.width * width
        flow.put(Stroke(x + line.width + 4.0, flow.y + line.top, right, flow.y + line.top, 0.4))
    flow.y += 10.0

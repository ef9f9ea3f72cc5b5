"""Who stands where, on one page for the chief?

Above, each relay's zones on the track, with names at their edges; below, for each edge the lanes
and the people, with a column for each change of the day. All of it stays on one page: where names
have no room people have initials, told in a key; where rows have none an edge has one for all its
lanes; and where changes have none the last ones are told by when they come.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain, count, groupby
from math import ceil

from app.forms.crew_on_track import CrewOnTrack, draw_crew_on_track, drawn_height
from app.forms.flow import Column, Flow
from app.forms.fonts import Weight
from app.forms.paper import Paper
from app.forms.printed_sheet import Printed, draw_printed
from app.forms.sheet_head import write_meet
from app.forms.sheet_parts import NOT_GIVEN, SCALES, say, write_missing, write_title
from app.forms.typesetting import Segment
from app.plurals import counted

TEXT = 8.0  # 7 points on the fullest sheet
WHERE, LANES = 106.0, 92.0
NARROWEST = 56.0  # points of a column of people
BETWEEN = 4.0
GAP = 6.0
ABOVE = 0.8
LARGER = (1.2, 1.1)  # sizes for small crews
TRACKS = (150.0, 115.0, 88.0)  # how tall a track is drawn
TRACKS_IN_A_ROW = 3
KEY_COLUMNS = 4
MOST_COLUMNS = (12, 9, 7, 5, 4, 3, 2, 1)  # of changes that are shown
MOST_NOTES, FEW_NOTES = 8, 2
NOBODY = "nobody"
NOT_THEN = f"{NOT_GIVEN}: at that time another row tells of these lanes, or nobody runs in them."
MOST_LETTERS = 4  # of a last name, to tell initials apart
CAUTION = "The crew plan in force when this was printed; the meet's appointed officials decide."


@dataclass(frozen=True, slots=True)
class Row:
    """Lanes of an edge of a zone: who watches them in each column, as places in the list of people;
    None where nobody is wanted there, and no one where nobody watches.
    """

    edge: str
    where: str
    lanes: str
    side: str
    who: tuple[tuple[int, ...] | None, ...]


@dataclass(frozen=True, slots=True)
class CrewTable:
    """The crew of relays that have the same: a column for each time from which on it stands so."""

    relays: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """What the chief must mind, under a heading."""

    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChiefsSheet(Printed):
    """A meet's crew; people are named in `people` and elsewhere by their place there."""

    people: tuple[str, ...]
    tracks: tuple[CrewOnTrack, ...]
    tables: tuple[CrewTable, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class _Plan:
    """How it is brought onto a page: by names or initials, with a row a stand or an edge, the most
    columns and notes, how tall a track is drawn, in which size.
    """

    has_initials: bool
    is_by_edge: bool
    columns: int
    notes: int
    track: float
    scale: float


def draw_chiefs_sheet(sheet: ChiefsSheet, paper: Paper) -> bytes:
    """The sheet as a PDF."""
    return draw_printed(sheet, "Chief's sheet", CAUTION, paper, partial(_write, sheet=sheet))


def _write(flow: Flow, sheet: ChiefsSheet) -> None:
    """As the first plan that has room on the page, else over pages as the tightest."""
    for plan in _plans(sheet):
        flow.scale = plan.scale
        if flow.fits(partial(_write_while_it_fits, sheet=sheet, plan=plan)):
            return
    for part in _parts(flow, sheet, plan):
        part()


def _plans(sheet: ChiefsSheet) -> Iterator[_Plan]:
    """From the fullest and largest to the tightest."""
    most = max((len(table.columns) for table in sheet.tables), default=1)
    if most <= MOST_COLUMNS[0]:
        for has_initials, is_by_edge in ((False, False), (True, False), (True, True)):
            for scale in (*LARGER, *SCALES):
                for track in TRACKS:
                    yield _Plan(has_initials, is_by_edge, most, MOST_NOTES, track, scale)
    for columns in MOST_COLUMNS:
        yield _Plan(True, True, min(columns, most), FEW_NOTES, TRACKS[-1], SCALES[-1])


def _write_while_it_fits(flow: Flow, sheet: ChiefsSheet, plan: _Plan) -> None:
    """No further than it has room: what is too much is not set in full for each plan."""
    pages = len(flow.pages)
    for part in _parts(flow, sheet, plan):
        part()
        if len(flow.pages) > pages:
            return


def _parts(flow: Flow, sheet: ChiefsSheet, plan: _Plan) -> Iterator[Callable[[], None]]:
    """What is written, one after another."""
    yield partial(_write_head, flow, sheet, plan)
    yield partial(_draw_tracks, flow, sheet.tracks, plan.track)
    for table in sheet.tables:
        yield partial(flow.skip, GAP)
        yield from _table(flow, sheet, table, plan)
    if _has_dashes(sheet, plan):
        yield partial(flow.skip, GAP / 2)
        yield partial(flow.write, say(NOT_THEN, "table"), TEXT)
    if plan.has_initials:
        yield partial(flow.skip, GAP)
        yield partial(_write_key, flow, sheet.people)
    for note in sheet.notes:
        yield partial(flow.skip, GAP / 2)
        yield partial(_write_note, flow, note, plan.notes)
    yield partial(write_missing, flow)


def _has_dashes(sheet: ChiefsSheet, plan: _Plan) -> bool:
    """Whether a row is not about a column that is shown; an edge's one row leaves that out."""
    rows = (row for table in sheet.tables for row in table.rows)
    return not plan.is_by_edge and any(None in row.who[: plan.columns] for row in rows)


def _write_head(flow: Flow, sheet: ChiefsSheet, plan: _Plan) -> None:
    flow.scale = 1.0
    write_title(flow, "Chief's sheet: who stands where", [])
    write_meet(flow, sheet)
    flow.scale = plan.scale


def _draw_tracks(flow: Flow, tracks: Sequence[CrewOnTrack], tallest: float) -> None:
    """Beside each other, in rows."""
    for first in range(0, len(tracks), TRACKS_IN_A_ROW):
        row = tracks[first : first + TRACKS_IN_A_ROW]
        wide = flow.width / max(len(row), 2)
        tall = min(tallest, max(drawn_height(one.track, wide) for one in row))
        flow.need(tall)
        left = flow.left + (flow.width - wide * len(row)) / 2
        for number, drawn in enumerate(row):
            draw_crew_on_track(flow, drawn, (left + number * wide, flow.y), (wide, tall))
        flow.y += tall


def _table(
    flow: Flow, sheet: ChiefsSheet, table: CrewTable, plan: _Plan
) -> Iterator[Callable[[], None]]:
    """In parts one below another where its columns have no room beside each other."""
    across = int((flow.width - (WHERE + LANES) * plan.scale) / NARROWEST)
    shown = table.columns[: plan.columns]
    for first in range(0, len(shown), across):
        part = range(first, min(first + across, len(shown)))
        yield from _part(flow, sheet, table, part, plan)
    further = table.columns[plan.columns :]
    if further:
        words = (
            f"{counted(len(further), 'further change')} of {table.relays}, from {further[0]} on: "
            "who stands where then is on the cards."
        )
        yield partial(flow.write, say(words, "table"), TEXT)


def _part(
    flow: Flow, sheet: ChiefsSheet, table: CrewTable, part: range, plan: _Plan
) -> Iterator[Callable[[], None]]:
    where = WHERE * plan.scale
    lanes = 0.0 if plan.is_by_edge else LANES * plan.scale
    each = (flow.width - where - lanes) / len(part)
    people = [(where + lanes + number * each, each) for number in range(len(part))]
    places = [(0.0, where), *([(where, lanes)] if lanes else []), *people]
    relays = f"{table.relays}; lanes, inside or out: who" if plan.is_by_edge else table.relays
    heads = ["lanes, side"] if lanes else []
    heads = [relays, *heads, *(table.columns[one] for one in part)]
    yield partial(_write_row, flow, places, [_bold(words) for words in heads])
    yield partial(flow.rule, 0.9)
    cells = _by_edge if plan.is_by_edge else _by_stand
    names = initials_of(sheet.people) if plan.has_initials else sheet.people
    for (edge, where_it_is), rows in groupby(table.rows, key=lambda row: (row.edge, row.where)):
        for row in cells(names, f"{edge}  {where_it_is}", list(rows), part):
            yield partial(_write_row, flow, places, row)
        yield partial(flow.rule, 0.3)


def _by_stand(
    people: Sequence[str], where: str, rows: Sequence[Row], part: range
) -> Iterator[list[Segment]]:
    """A row for each stand at an edge."""
    for number, row in enumerate(rows):
        names = [_people(row.who[one], people) for one in part]
        side = f", {row.side}" if row.side else ""
        yield [
            _bold("" if number else where),
            Segment(f"{row.lanes}{side}", "table"),
            *names,
        ]


def _people(who: tuple[int, ...] | None, people: Sequence[str]) -> Segment:
    if who is None:
        return Segment(NOT_GIVEN, "table")
    words = ", ".join(people[one] for one in who)
    return Segment(words, "names") if words else _bold(NOBODY)


def _by_edge(
    people: Sequence[str], where: str, rows: Sequence[Row], part: range
) -> Iterator[list[Segment]]:
    """One row for the whole edge: 1–2 in: BH; 3–4 out: CA."""
    cells = []
    for one in part:
        there = (_stand(row, row.who[one], people) for row in rows)
        cells.append(Segment("; ".join(filter(None, there)), "table"))
    yield [_bold(where), *cells]


def _stand(row: Row, who: tuple[int, ...] | None, people: Sequence[str]) -> str:
    if who is None:
        return ""
    lanes, side = row.lanes.partition(" ")[2], f" {row.side.removesuffix('side')}".rstrip()
    return f"{lanes}{side}: {', '.join(people[one] for one in who) or NOBODY}"


def initials_of(people: Sequence[str]) -> list[str]:
    """Initials by which people are told apart: BH, but BHal and BHar where two begin alike; those
    that are alike all the same are numbered.
    """
    found = [_initials(name, 1) for name in people]
    for letters in range(2, MOST_LETTERS + 1):
        often = Counter(found)
        found = [
            _initials(name, letters) if often[before] > 1 else before
            for name, before in zip(people, found, strict=True)
        ]
    taken: dict[str, None] = {}
    for one in found:
        further = (f"{one}{number}" for number in count(2))
        taken[next(words for words in chain([one], further) if words not in taken)] = None
    return list(taken)


def _initials(name: str, letters: int) -> str:
    first, *others = name.split()
    return f"{first[0]}{others[-1][:letters]}" if others else first[: letters + 1]


def _bold(words: str) -> Segment:
    return Segment(words, "table", Weight.BOLD)


def _write_row(flow: Flow, places: Sequence[tuple[float, float]], cells: Sequence[Segment]) -> None:
    flow.y += ABOVE
    flow.columns(
        [
            Column(flow.left + x, width, flow.set_lines([words], TEXT, width - BETWEEN))
            for (x, width), words in zip(places, cells, strict=True)
            if words.text
        ]
    )


def _write_key(flow: Flow, people: Sequence[str]) -> None:
    """Whom initials are of, down in columns."""
    initials = initials_of(people)
    rows = ceil(len(people) / KEY_COLUMNS)
    each = flow.width / KEY_COLUMNS
    for row in range(rows):
        columns = []
        for place, number in enumerate(range(row, len(people), rows)):
            words = [_bold(f"{initials[number]}  "), Segment(people[number], "names")]
            lines = flow.set_lines(words, TEXT, each - BETWEEN)
            columns.append(Column(flow.left + place * each, each, lines))
        flow.columns(columns)


def _write_note(flow: Flow, note: Note, most: int) -> None:
    title, further = _bold(f"{note.title}: "), len(note.sentences) - most
    words = "; ".join(note.sentences[:most])
    more = f"; and {further} more" if further > 0 else ""
    flow.write([title, *say(f"{words}{more}.", note.title)], TEXT)

"""How do badges lie on a sheet from which they are cut out, and what stands on each?

Eight of 90 × 58 mm a page, the same on A4 and on Letter, so that they fit common holders (common
practice). Beside the name stands the personal link as a QR code, with how long it works and no more
about it. Text is set smaller until all of it has room: nothing is cut, whatever the name.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

from app.forms.flow import LABEL_GREY, Flow
from app.forms.fonts import Weight
from app.forms.painting import About, Area, Modules, SetText, box, paint
from app.forms.paper import POINTS_PER_MM, Paper
from app.forms.qr_code import QUIET_MODULES, make_modules
from app.forms.sheet_parts import BODY, Fact, add_feet, plan_foot, shorten, write_missing_apart
from app.forms.structure import Tag
from app.forms.typesetting import Line, Segment, Typesetter

COLUMNS, ROWS = 2, 4
WIDE = 90.0 * POINTS_PER_MM
TALL = 58.0 * POINTS_PER_MM
PADDING = 4.5 * POINTS_PER_MM
CODE = 32.0 * POINTS_PER_MM
TITLE_ROOM = 7.0 * POINTS_PER_MM
SMALLER = 0.94
SMALL_ENOUGH = 0.6  # below it a word that is wider than its line is broken
NAME, ROLES, AFFILIATION, MEET, WORKS = 16.0, 10.5, 9.0, 8.0, 7.5
GAP = 4.0
CUT = 0.3
CAUTION = (
    "Whoever scans a code can join as the official whom it names: give each badge to its official, "
    "and destroy what is left over."
)


@dataclass(frozen=True, slots=True)
class Badge:
    """One official in words, the address that the code leads to, and how long that works."""

    name: str
    roles: str
    affiliation: str
    link: str
    works: str


@dataclass(frozen=True, slots=True)
class BadgeSheet:
    """The badges of a meet; `issued_at` is when their links were."""

    meet: str
    issued_at: str
    badges: tuple[Badge, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    """Words on a badge: their size where there is room, and what they are to a screen reader."""

    words: Segment
    size: float
    role: str = "P"
    grey: float = 0.0


@dataclass(frozen=True, slots=True)
class _Place:
    """A rectangle that words must fit into; points from the page's upper left corner."""

    x: float
    y: float
    width: float
    height: float


def draw_badge_sheet(sheet: BadgeSheet, paper: Paper) -> bytes:
    """The badges as a PDF, as many pages as they need."""
    typesetter = Typesetter()
    # The meet stands on each badge; below them its name might take more room than there is.
    issued = Fact("links issued", sheet.issued_at, "time of issue")
    foot = plan_foot(typesetter, paper, CAUTION, [[issued]])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    number = 1
    for batch in _by_page(sheet.badges):
        _begin_page(flow, is_first=number == 1)
        for place, badge in enumerate(batch):
            _draw_badge(flow, sheet.meet, badge, number, _corner(flow, place))
            number += 1
    flow.y = inf  # the badges below the pen are no lines of its own
    write_missing_apart(flow)
    add_feet(flow, foot)
    title = f"Badges \u2013 {shorten(sheet.meet)}"
    return paint(flow.pages, paper, About(title, f"Links issued {sheet.issued_at}"))


def _by_page(badges: Sequence[Badge]) -> Iterator[Sequence[Badge]]:
    a_page = COLUMNS * ROWS
    yield from (badges[first : first + a_page] for first in range(0, len(badges), a_page))


def _begin_page(flow: Flow, *, is_first: bool) -> None:
    """A fresh page; the first one has the sheet's name above its badges."""
    if is_first:
        flow.write([Segment("Badges to cut out", "title", Weight.BOLD)], BODY, role="H1")
    else:
        flow.pages.append([])


def _corner(flow: Flow, place: int) -> tuple[float, float]:
    row, column = divmod(place, COLUMNS)
    left = (flow.sheet.width - COLUMNS * WIDE) / 2
    return left + column * WIDE, flow.sheet.top + TITLE_ROOM + row * TALL


def _draw_badge(
    flow: Flow, meet: str, badge: Badge, number: int, corner: tuple[float, float]
) -> None:
    (x, y), rows = corner, make_modules(badge.link)
    quiet = CODE / len(rows) * QUIET_MODULES
    left, top, code_x = x + PADDING, y + PADDING, x + WIDE - PADDING - CODE
    beside = _Place(left, top, code_x - quiet - left, TALL - 2 * PADDING)
    below = _Place(code_x, top + CODE + quiet, CODE, TALL - 2 * PADDING - CODE - quiet)
    flow.put(Area(box(x, y, WIDE, TALL), thickness=CUT))
    with flow.inside(flow.tag("Sect")):
        _write(flow, _about(meet, badge, number), beside)
        says = flow.tag("Figure", f"QR code: the personal link of {badge.name}.")
        flow.put(Modules(code_x, top, CODE, rows, tag=says))
        works = Segment(badge.works, f"validity of badge {number}")
        _write(flow, [_Part(works, WORKS)], below)


def _about(meet: str, badge: Badge, number: int) -> list[_Part]:
    """Who it is, from the meet down to the club; what is not given takes no room."""
    parts = [
        _Part(Segment(meet, "meet"), MEET, grey=LABEL_GREY),
        _Part(Segment(badge.name, f"name of badge {number}", Weight.BOLD), NAME, "H2"),
        _Part(Segment(badge.roles, f"roles of badge {number}", Weight.BOLD), ROLES),
        _Part(Segment(badge.affiliation, f"affiliation of badge {number}"), AFFILIATION),
    ]
    return [part for part in parts if part.words.text]


def _write(flow: Flow, parts: Sequence[_Part], place: _Place) -> None:
    """The parts under each other, in the largest sizes in which all of them have room."""
    scale = 1.0
    while not _fits(lines := _set(flow, parts, place.width, scale), scale, place.height):
        scale *= SMALLER
    y = place.y
    for part, its_lines in zip(parts, lines, strict=True):
        tag = flow.tag(part.role)
        for line in its_lines:
            flow.put(_stand(line, place, y, part.grey, tag))
            y += line.height
        y += GAP * scale


def _set(flow: Flow, parts: Sequence[_Part], width: float, scale: float) -> list[list[Line]]:
    return [flow.typesetter.set_lines([part.words], part.size * scale, width) for part in parts]


def _fits(parts: Sequence[Sequence[Line]], scale: float, height: float) -> bool:
    """Whether all lines have room, and no word is broken that would be whole a little smaller."""
    breaks = any(line.goes_on for part in parts for line in part)
    return _tall(parts, scale) <= height and not (breaks and scale > SMALL_ENOUGH)


def _tall(parts: Sequence[Sequence[Line]], scale: float) -> float:
    lines = sum(line.height for part in parts for line in part)
    return lines + GAP * scale * (len(parts) - 1)


def _stand(line: Line, place: _Place, y: float, grey: float, tag: Tag) -> SetText:
    """A line whose script runs from the right begins there."""
    x = place.x + (max(place.width - line.width, 0.0) if line.from_right else 0.0)
    return SetText(x, y + line.top, line, grey, tag)

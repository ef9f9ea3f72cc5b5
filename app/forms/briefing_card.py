"""What does an umpire take along? One card, from where to stand to what a report says.

Four cards lie on a sheet. A card has all of somebody's day where it can, and goes on on a further
one where it cannot: nothing is left out, and what is told to everybody stands on the first. It
draws what it is given, and of somebody's stands as many as it has room for: who stands where comes
from the crew plan, the zones and their rules from the rule book, what is seen from an edge from the
rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from math import inf

from app.forms.flow import LABEL_GREY, Align, Column, Flow
from app.forms.fonts import Weight
from app.forms.four_up import CardFlow, impose
from app.forms.painting import Modules, SetText, Stroke, paint
from app.forms.paper import POINTS_PER_MM, Paper
from app.forms.printed_sheet import Printed
from app.forms.qr_code import QUIET_MODULES, SMALLEST_CODE_MM, Rows, make_modules
from app.forms.sheet_parts import (
    SCALES,
    WIDEST_IN_A_FOOT,
    Fact,
    join_facts,
    say,
    shorten_facts,
    write_missing_apart,
)
from app.forms.stand_drawing import IN_A_ROW, StandDrawn, draw_stands
from app.forms.typesetting import Line, Segment, Typesetter
from app.plurals import counted

TEXT = 8.0  # 7 points on the fullest card
SMALLEST = 7.0
NAMES = (13.0, 10.0, TEXT)
LINES_OF_A_NAME = 2
GAP = 3.0
BETWEEN = 0.6
A_PLACE = 4 * TEXT  # where it is, and its first heats
CODE = SMALLEST_CODE_MM * POINTS_PER_MM


@dataclass(frozen=True, slots=True)
class HeatsThere:
    """Heats of a round in words, when they begin, and how many they are."""

    words: str
    when: str
    number: int


@dataclass(frozen=True, slots=True)
class StandThere:
    """A stand in words, and where on the track its edge lies; empty where that was said before, or
    is not known.
    """

    words: str
    lies: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where somebody stands next, or has to be at once, and for which heats; `no_heat` says why
    there are none.
    """

    stands: tuple[StandThere, ...]
    heats: tuple[HeatsThere, ...]
    no_heat: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """Sentences behind a heading."""

    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BriefingCard:
    """One official's day; `link` is the address that their own code leads to, or empty; `drawings`
    are the stands that look different. `advice` is their own, `for_all` is told to everybody.
    """

    official: str
    link: str
    works: str
    drawings: tuple[StandDrawn, ...]
    places: tuple[Place, ...]
    advice: tuple[Advice, ...]
    for_all: tuple[Advice, ...]


@dataclass(frozen=True, slots=True)
class BriefingCards(Printed):
    """The cards of a meet's crew."""

    cards: tuple[BriefingCard, ...]


def draw_briefing_cards(briefing: BriefingCards, paper: Paper) -> bytes:
    """The cards as a PDF, four a sheet."""
    typesetter = Typesetter()
    foot = _plan_foot(typesetter, briefing, paper)
    height = sum(line.height for line in foot) + GAP
    flow = CardFlow(paper, height, typesetter=typesetter)
    for number, card in enumerate(briefing.cards, 1):
        flow.goes_on = None
        flow.need(inf)
        first = len(flow.pages) - 1
        flow.goes_on = partial(_go_on, official=card.official, number=number)
        _write_on_few(flow, _Numbered(card, number, make_modules(card.link) if card.link else ()))
        _add_feet(flow, first, foot)
    flow.scale, flow.goes_on = 1.0, None
    write_missing_apart(flow)
    return paint(impose(flow.pages, paper), paper, briefing.about("Briefing cards"))


@dataclass(frozen=True, slots=True)
class _Numbered:
    """A card with its place among all, and its code, which is made once, however many sizes are
    tried.
    """

    card: BriefingCard
    number: int
    code: Rows


def _write_on_few(flow: CardFlow, one: _Numbered) -> None:
    """On one card where it can be: as many stands drawn as have room, and the letters a little
    smaller where that helps.
    """
    most = _most_drawn(flow, one)
    for drawn in _fewer_and_fewer(most):
        write = partial(_write_card, one=one, drawn=drawn, is_alone=True)
        if drawn > 1 and not _has_room(flow, write):
            continue
        for scale in SCALES:
            flow.scale = scale
            if flow.fits(write):
                return
    flow.scale = SCALES[-1]
    _write_card(flow, one, most, is_alone=False)


def _most_drawn(flow: CardFlow, one: _Numbered) -> int:
    """How many stands have room on the first card above what is told to everybody, and a place."""

    def write(trial: Flow, drawn: int) -> None:
        _write_head(trial, one, drawn)
        _write_advice(trial, one.card.for_all)
        trial.need(A_PLACE * trial.scale)

    *more, least = _fewer_and_fewer(len(one.card.drawings))
    return next((some for some in more if _has_room(flow, partial(write, drawn=some))), least)


def _fewer_and_fewer(most: int) -> Iterator[int]:
    """So many, then whole rows of fewer: a part of a row takes as much room."""
    yield most
    yield from range((most - 1) // IN_A_ROW * IN_A_ROW, 0, -IN_A_ROW)


def _has_room(flow: CardFlow, write: Callable[[Flow], None]) -> bool:
    """Whether a card holds it in the smallest letters."""
    trial = CardFlow(flow.paper, flow.foot_height, SCALES[-1], flow.typesetter)
    write(trial)
    return len(trial.pages) == 1


def _go_on(flow: Flow, official: str, number: int) -> None:
    name = Segment(official, f"name of card {number}", Weight.BOLD)
    flow.write([name, Segment(", further card", "card")], TEXT)
    flow.skip(GAP)


def _write_card(flow: Flow, one: _Numbered, drawn: int, *, is_alone: bool) -> None:
    """What is told to everybody last, or first of several cards."""
    card, code = one.card, _write_head(flow, one, drawn)
    if not is_alone:
        _write_advice(flow, card.for_all)
        flow.skip(GAP)
    _write_places(flow, card.places, code)
    flow.y = code.below(flow)
    _write_advice(flow, [*card.advice, *card.for_all] if is_alone else card.advice)


def _write_advice(flow: Flow, some: Sequence[Advice]) -> None:
    for advice in some:
        flow.skip(BETWEEN)
        _write_one(flow, advice)


def _write_one(flow: Flow, advice: Advice) -> None:
    title = Segment(f"{advice.title}:", "headings", Weight.BOLD)
    words = say(f" {' '.join(advice.sentences)}", advice.title)
    flow.write([title, *words], TEXT)


@dataclass(frozen=True, slots=True)
class _Code:
    """What stands at the right of a person's first card, from its top down to `until`."""

    card: int
    until: float
    width: float

    @contextmanager
    def beside(self, flow: Flow) -> Iterator[None]:
        """A narrower column for what stands beside it."""
        taken = self.width if self.below(flow) > flow.y else 0.0
        flow.width -= taken
        yield
        flow.width += taken

    def below(self, flow: Flow) -> float:
        """Where the whole width is free."""
        return max(flow.y, self.until) if len(flow.pages) == self.card else flow.y


def _write_head(flow: Flow, one: _Numbered, drawn: int) -> _Code:
    """The name and the first so many stands, with how many are not drawn."""
    code, left = _write_code(flow, one), len(one.card.drawings) - drawn
    with code.beside(flow):
        _write_name(flow, one)
        draw_stands(flow, one.card.drawings[:drawn], TEXT)
        if left:
            words = f"Not drawn: {counted(left, 'further place')} to stand, told in words alone."
            flow.write([Segment(words, "drawing")], TEXT)
            flow.skip(GAP)
    return code


def _write_name(flow: Flow, one: _Numbered) -> None:
    name = Segment(one.card.official, f"name of card {one.number}", Weight.BOLD)
    for size in NAMES:
        lines = flow.typesetter.set_lines([name], size, flow.width)
        if len(lines) <= LINES_OF_A_NAME and not any(line.goes_on for line in lines):
            break
    tag = flow.tag("H1")
    for line in lines:
        align = Align.RIGHT if line.from_right else Align.LEFT
        flow.columns([Column(flow.left, flow.width, [line], align, tag=tag)])
    flow.skip(GAP)


def _write_code(flow: Flow, one: _Numbered) -> _Code:
    """The code with how long it works, where there is one; it is read aloud behind the name."""
    card, rows = one.card, one.code
    if not rows:
        return _Code(len(flow.pages), flow.y, 0.0)
    quiet = CODE / len(rows) * QUIET_MODULES
    left, y = flow.left + flow.width - CODE, flow.y + CODE + quiet
    says = flow.tag("Figure", f"QR code: the personal link of {card.official}.")
    flow.put(Modules(left, flow.y, CODE, rows, tag=says))
    works = Segment(card.works, f"validity of card {one.number}")
    tag = flow.tag()
    for line in flow.typesetter.set_lines([works], SMALLEST, CODE):
        flow.put(SetText(left, y + line.top, line, tag=tag))
        y += line.height
    return _Code(len(flow.pages), y + GAP, CODE + 2 * GAP)


def _write_places(flow: Flow, places: Sequence[Place], code: _Code) -> None:
    """All of them; a card that has no room for some says how many heats stand on the next one."""
    left = sum(some.number for place in places for some in place.heats)
    for place in places:
        with code.beside(flow):
            _write_place(flow, place, left)
        for some in place.heats:
            _turn_unless(flow, _tall_of(flow, some), left, is_last=left == some.number)
            with code.beside(flow):
                _write_heats(flow, some)
            left -= some.number
        if place.no_heat:
            flow.write([Segment(place.no_heat, "heats")], TEXT, grey=LABEL_GREY)
        flow.skip(GAP / 2)


def _write_place(flow: Flow, place: Place, left: int) -> None:
    stands = [_set_stand(flow, one) for one in place.stands]
    tall = sum(_tall(words) + _tall(lies) for words, lies in stands)
    a_row = TEXT * 2 * flow.scale
    _turn_unless(flow, tall + a_row, left, is_last=left == 0)
    for words, lies in stands:
        flow.columns([Column(flow.left, flow.width, words, tag=flow.tag("H2"))])
        if lies:
            flow.columns([Column(flow.left, flow.width, lies)])


def _set_stand(flow: Flow, one: StandThere) -> tuple[list[Line], list[Line]]:
    words = [Segment(one.words, "place", Weight.BOLD)]
    lies = [Segment(f"{one.lies}.", "place")] if one.lies else []
    return (
        flow.set_lines(words, TEXT + 1.0, flow.width),
        flow.set_lines(lies, TEXT, flow.width) if lies else [],
    )


def _turn_unless(flow: Flow, height: float, left: int, *, is_last: bool) -> None:
    """Go on on a further card where this one has no room, and say so."""
    note = flow.set_lines(
        [Segment(f"On the next card: {_more(left)}.", "heats", Weight.BOLD)], TEXT, flow.width
    )
    room = flow.bottom - flow.y - (0.0 if is_last else _tall(note))
    if height > room and flow.y > flow.sheet.top:
        if left:
            flow.columns([Column(flow.left, flow.width, note)])
        flow.need(inf)


def _more(left: int) -> str:
    return counted(left, "more heat", "more heats")


def _set_heats(flow: Flow, some: HeatsThere) -> tuple[list[Line], list[Line]]:
    """Which heats, and when they begin, in a column at the right."""
    if not some.when:
        return flow.set_lines([Segment(some.words, "heats")], TEXT, flow.width), []
    when = flow.set_lines([Segment(some.when, "times", Weight.BOLD)], TEXT, flow.width / 2)
    wide = max(line.width for line in when)
    return flow.set_lines([Segment(some.words, "heats")], TEXT, flow.width - wide - GAP), when


def _tall_of(flow: Flow, some: HeatsThere) -> float:
    return max(map(_tall, _set_heats(flow, some)))


def _write_heats(flow: Flow, some: HeatsThere) -> None:
    lines, when = _set_heats(flow, some)
    columns = [Column(flow.left, flow.width, lines)]
    if when:
        columns.append(Column(flow.left, flow.width, when, Align.RIGHT))
    flow.columns(columns)


def _tall(lines: Sequence[Line]) -> float:
    return sum(line.height for line in lines)


def _plan_foot(typesetter: Typesetter, briefing: BriefingCards, paper: Paper) -> list[Line]:
    width = CardFlow(paper, 0.0).width * WIDEST_IN_A_FOOT
    whose = [Fact("", briefing.meet, "meet"), Fact("", briefing.printed_at, "time of printing")]
    return typesetter.set_lines(join_facts(shorten_facts(whose)), SMALLEST, width)


def _add_feet(flow: Flow, first: int, foot: Sequence[Line]) -> None:
    """On each card of somebody: what it belongs to, and which of how many it is."""
    cards = flow.pages[first:]
    for number, page in enumerate(cards, 1):
        y, right = flow.bottom + GAP / 2, flow.left + flow.width
        page.append(Stroke(flow.left, y, right, y, 0.4))
        words = f"card {number} of {len(cards)}"
        which = flow.typesetter.set_line(words, "foot", SMALLEST, Weight.BOLD)
        page.append(SetText(right - which.width, y + which.top, which))
        tag = flow.tag() if number == len(cards) else None
        for line in foot:
            page.append(SetText(flow.left, y + line.top, line, LABEL_GREY, tag))
            y += line.height

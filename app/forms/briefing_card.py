"""What does an umpire take along to a post? One card, from what to watch to what a report says.

A card begins a page and has all of it where it can, in letters that are read standing. It draws
what it is given: who stands where comes from the crew plan, the zones and their rules from the rule
book, what is seen from an edge from the rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from math import inf

from app.forms.flow import Flow
from app.forms.fonts import Weight
from app.forms.painting import About, paint
from app.forms.paper import Paper
from app.forms.sheet_head import MeetHead, write_meet
from app.forms.sheet_parts import (
    BODY,
    GAP,
    SCALES,
    Cell,
    Fact,
    add_feet,
    plan_foot,
    say,
    shorten,
    write_cells,
    write_missing,
    write_title,
)
from app.forms.typesetting import Typesetter
from app.forms.zone_drawing import draw_watched_zone
from app.forms.zone_scale import ZonePicture

READ_STANDING = 10.5
CAUTION = "The meet's appointed officials decide, by the rule book of the meet."
DASH = "\u2013"


@dataclass(frozen=True, slots=True)
class WatchedZone:
    """A zone with the edge that is watched, by name and in metres; `relays` have it alike."""

    picture: ZonePicture
    relays: str
    edge: str
    edge_m: float
    measures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """Sentences under a heading."""

    title: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BriefingCard:
    """One post in words."""

    official: str
    take_over: str
    edge: str
    lanes: str
    side: str
    relays: str
    zones: tuple[WatchedZone, ...]
    advice: tuple[Advice, ...]


@dataclass(frozen=True, slots=True)
class BriefingCards(MeetHead):
    """The cards of a meet's crew."""

    edition: str
    printed_at: str
    cards: tuple[BriefingCard, ...]


def draw_briefing_cards(briefing: BriefingCards, paper: Paper) -> bytes:
    """The cards as a PDF, one after another."""
    typesetter = Typesetter()
    whose = [
        Fact("", briefing.meet, "meet"),
        Fact("rule book", briefing.edition, "edition"),
        Fact("printed", briefing.printed_at, "time of printing"),
    ]
    foot = plan_foot(typesetter, paper, CAUTION, [whose])
    flow = Flow(paper, foot.height, typesetter=typesetter)
    for number, card in enumerate(briefing.cards, 1):
        _write_on_one_page(flow, briefing, card, number)
    write_missing(flow)
    add_feet(flow, foot)
    title = f"Briefing cards \u2013 {shorten(briefing.meet)}"
    return paint(flow.pages, paper, About(title, f"Printed {briefing.printed_at}"))


def _write_on_one_page(
    flow: Flow, briefing: BriefingCards, card: BriefingCard, number: int
) -> None:
    """On a page of its own, a little smaller where that saves a second one."""
    flow.need(inf)
    write = partial(_write_card, briefing=briefing, card=card, number=number)
    for scale in SCALES:
        flow.scale = scale
        if flow.fits(write):
            return
    flow.scale = SCALES[0]
    write(flow)


def _write_card(flow: Flow, briefing: BriefingCards, card: BriefingCard, number: int) -> None:
    write_title(flow, f"{card.take_over}, {card.edge} of the zone", [])
    write_meet(flow, briefing)
    _write_post(flow, card, number)
    for zone in card.zones:
        flow.skip(GAP)
        flow.keep(partial(_write_zone, zone=zone))
    for advice in card.advice:
        _write_advice(flow, advice)


def _write_post(flow: Flow, card: BriefingCard, number: int) -> None:
    large, strong = BODY + 3.0, Weight.BOLD
    cells = [
        Cell(Fact("official", card.official, f"official of card {number}"), 0.34, large, strong),
        Cell(Fact("edge watched", card.edge, "edge"), 0.15, large, strong),
        Cell(Fact("lanes", card.lanes, "lanes"), 0.17, large, strong),
        Cell(Fact("side of the track", card.side, "side"), 0.15, large, strong),
        Cell(Fact("relays", card.relays, "relays"), 0.19, BODY + 1.0),
    ]
    write_cells(flow, cells)


def _write_zone(flow: Flow, zone: WatchedZone) -> None:
    heading = f"The zone of {zone.picture.name} in {zone.relays}, drawn to scale"
    draw_watched_zone(flow, zone.picture, heading, (zone.edge, zone.edge_m))
    _write_items(flow, zone.measures, "measures of the zone")


def _write_advice(flow: Flow, advice: Advice) -> None:
    if advice.sentences:
        flow.skip(GAP * 0.8)
        flow.label(advice.title, READ_STANDING)
        _write_items(flow, advice.sentences, advice.title)


def _write_items(flow: Flow, sentences: Sequence[str], field: str) -> None:
    for sentence in sentences:
        flow.item(DASH, say(sentence, field), READ_STANDING)

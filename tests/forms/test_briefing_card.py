"""A briefing card has all that its post needs on one page, and points at the edge to watch."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.briefing_card import (
    Advice,
    BriefingCard,
    BriefingCards,
    WatchedZone,
    draw_briefing_cards,
)
from app.forms.flow import Flow
from app.forms.painting import Area
from app.forms.paper import Paper
from app.forms.zone_drawing import draw_watched_zone
from app.forms.zone_scale import make_scale
from tests.forms.builders import NAMES, a_zone
from tests.forms.pdf_reading import count_pages, read_info, read_pages, read_text
from tests.forms.test_printing import check_rims
from tests.forms.test_structure import elements_of, is_in_order, read_structure

both_papers = pytest.mark.parametrize("paper", list(Paper))
UNPRINTABLE = {"Chinese", "Japanese", "Korean"}
# IAAF Rule 170 (2012): 20 m with the leg line in the middle, 10 m of acceleration zone before it.
TWENTY_AND_TEN = a_zone(length_m=20.0, leg_line_m=10.0, acceleration_m=10.0)


def a_watched_zone(**changes: Any) -> WatchedZone:
    """The end of a 30 m zone."""
    zone = WatchedZone(a_zone(), "4x100", "end", 30.0, ("30 m long (TR24.3).",))
    return replace(zone, **changes)


def a_card(**changes: Any) -> BriefingCard:
    """A post at the end of the second zone."""
    card = BriefingCard(
        official="Bo Halyard",
        take_over="Take-over 2",
        edge="end",
        lanes="lanes 3–4",
        side="outside",
        relays="4x100",
        zones=(a_watched_zone(),),
        advice=(
            Advice("Seen from this edge", ("Pass completed beyond the zone (TR24.7)",)),
            Advice("Take care", ("Keep out of the running lanes.", "Phone down.")),
        ),
    )
    return replace(card, **changes)


def cards(*some: BriefingCard, **changes: Any) -> BriefingCards:
    """The cards of an invented meet."""
    made = BriefingCards(
        meet="Harbour Relays",
        place="Tidewater Stadium",
        date="2026-06-13",
        time_zone="Europe/Paris",
        edition="World Athletics, from 2025-11-01",
        printed_at="2026-06-12 09:40:12 CEST",
        cards=some or (a_card(),),
    )
    return replace(made, **changes)


@both_papers
def test_each_post_has_a_page_of_its_own_with_all_that_it_needs(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(a_card(), a_card(official="Cleo Anchor", side="inside")), paper)
    first, second = read_pages(pdf)
    for words in (
        "Take-over 2, end of the zone",
        "Bo Halyard",
        "lanes 3–4",
        "outside",
        "The zone of take-over 2 in 4x100, drawn to scale",
        "watch this edge",
        "30 m long (TR24.3).",
        "Pass completed beyond the zone (TR24.7)",
        "Keep out of the running lanes.",
        "The meet's appointed officials decide, by the rule book of the meet.",
        "page 1 of 2",
    ):
        assert words in first, words
    assert "Cleo Anchor" in second
    assert "Bo Halyard" not in second


@pytest.mark.parametrize("edge_m", [0.0, 20.0])
def test_the_arrow_stands_on_the_edge_that_is_watched(edge_m: float) -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_watched_zone(flow, TWENTY_AND_TEN, "The zone", ("edge", edge_m))
    scale = make_scale(TWENTY_AND_TEN, flow.left, flow.left + flow.width)
    tips = [
        shape.corners[0][0]
        for shape in flow.pages[0]
        if isinstance(shape, Area) and len(shape.corners) == 3 and shape.grey == 0.0
    ]
    assert scale.x(edge_m) in tips


@pytest.mark.parametrize("script", list(NAMES))
def test_a_name_in_any_script_prints_or_the_cards_say_what_they_could_not(script: str) -> None:
    name = NAMES[script]
    text = read_text(draw_briefing_cards(cards(a_card(official=name)), Paper.A4))
    assert [word for word in name.split() if word not in text] == []
    assert ("Could not be printed:" in text) == (script in UNPRINTABLE)
    if script in UNPRINTABLE:
        assert f"U+{ord(name[0]):04X}" in text.partition("Could not be printed:")[2]


EXTREME = a_card(
    official="W" * 120,
    zones=(a_watched_zone(), a_watched_zone(picture=TWENTY_AND_TEN, edge_m=20.0)) * 3,
    advice=(Advice("Take care", ("Ẫ" * 300, "sail " * 400)),) * 4,
)


@both_papers
def test_every_dot_of_ink_is_at_least_8_mm_from_the_rim(paper: Paper) -> None:
    assert check_rims(draw_briefing_cards(cards(), paper)) == []
    assert check_rims(draw_briefing_cards(cards(EXTREME, meet="W" * 120), paper)) == []


@both_papers
def test_a_card_that_is_too_long_for_a_page_goes_on_and_loses_nothing(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(EXTREME, a_card()), paper)
    assert count_pages(pdf) > 2
    text = "".join(read_text(pdf).split())
    assert text.count("Ẫ") == 4 * 300
    assert text.count("sail") == 4 * 400
    assert read_pages(pdf)[-1].startswith("Take-over 2, end of the zone")


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=120), st.text(max_size=300), st.sampled_from(list(Paper)))
def test_no_text_makes_a_card_fail(name: str, words: str, paper: Paper) -> None:
    card = a_card(official=name, advice=(Advice("Take care", (words,)),))
    assert count_pages(draw_briefing_cards(cards(card, meet=name), paper)) >= 1


@both_papers
def test_cards_are_read_aloud_from_the_post_to_the_care_it_asks_for(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(), paper)
    told = read_structure(pdf)
    assert told[0] == ("H1", "Take-over 2, end of the zone")
    assert is_in_order(
        " ".join(text for _, text in told),
        [
            "official Bo Halyard",
            "edge watched end",
            "lanes lanes 3–4",
            "side of the track outside",
            "drawn to scale",
            "30 m long",
            "Seen from this edge",
            "Take care",
            "The meet's appointed officials decide",
        ],
    )
    (alt,) = [one["/Alt"] for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert alt.endswith("An arrow points at the end of the zone, 30 m from its start.")
    assert read_info(pdf)["Title"] == "Briefing cards – Harbour Relays"


def test_the_same_cards_give_the_same_bytes() -> None:
    first = draw_briefing_cards(cards(), Paper.A4)
    draw_briefing_cards(cards(EXTREME), Paper.LETTER)
    assert draw_briefing_cards(cards(), Paper.A4) == first

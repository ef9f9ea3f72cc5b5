"""A briefing card has all that an umpire needs, four a sheet, and shows the edge to watch.

Codes are read by a reader that shares nothing with their maker (zxing-cpp).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.forms.briefing_card import (
    Advice,
    BriefingCard,
    BriefingCards,
    HeatsThere,
    Place,
    StandThere,
    draw_briefing_cards,
)
from app.forms.flow import Flow
from app.forms.four_up import A_SHEET
from app.forms.painting import Area, Disc, Shape, Stroke
from app.forms.paper import Paper
from app.forms.stand_drawing import LARGE, SMALL, StandDrawn, draw_stands
from app.forms.zone_scale import make_scale
from app.rules.relay import Edge
from tests.forms.builders import NAMES, a_zone
from tests.forms.pdf_reading import count_pages, read_info, read_pages, read_text
from tests.forms.test_badge_sheet import LINK, WORKS, codes_on
from tests.forms.test_printing import check_rims
from tests.forms.test_structure import elements_of, is_in_order, read_structure

both_papers = pytest.mark.parametrize("paper", list(Paper))
UNPRINTABLE = {"Chinese", "Japanese", "Korean"}
# IAAF Rule 170 (2012): 20 m with the leg line in the middle, 10 m of acceleration zone before it.
TWENTY_AND_TEN = a_zone(length_m=20.0, leg_line_m=10.0, acceleration_m=10.0)


def a_stand(**changes: Any) -> StandDrawn:
    """The end of a 30 m zone, lanes 3 and 4, from outside."""
    stand = StandDrawn(
        words="4x100, take-over 2: end",
        heading="",
        note="",
        zone=a_zone(),
        lanes=8,
        edge=Edge.END,
        watched=frozenset({3, 4}),
        is_inside=False,
    )
    return replace(stand, **changes)


def some_stands(number: int) -> tuple[StandDrawn, ...]:
    """Each with a heading of its own."""
    return tuple(
        a_stand(words=f"Stand {one}", heading=f"4x100, stand no. {one}", watched=frozenset({one}))
        for one in range(1, number + 1)
    )


def a_place(words: str = "Take-over 2: end, lanes 3–4, outside") -> StandThere:
    """Where somebody stands, in the second bend."""
    return StandThere(words, "4x100: 25–29 m into the second bend")


def some_heats(number: int) -> tuple[HeatsThere, ...]:
    """Rounds of two heats each."""
    return tuple(
        HeatsThere(f"Event {one} 4x100 m, heats: heats 1–2", f"1{one % 10}:05–1{one % 10}:10", 2)
        for one in range(number)
    )


def a_card(**changes: Any) -> BriefingCard:
    """Somebody with one place."""
    card = BriefingCard(
        official="Bo Halyard",
        link="",
        works="",
        drawings=(a_stand(),),
        places=(Place((a_place(),), some_heats(1)),),
        advice=(Advice("Seen from the end", ("Pass completed beyond the zone (TR24.7).",)),),
        for_all=(Advice("Take care", ("Keep out of the running lanes.", "Phone down.")),),
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


def crew(size: int) -> list[BriefingCard]:
    return [
        a_card(official=f"Umpire {number:02}", link=LINK.format(number), works=WORKS)
        for number in range(1, size + 1)
    ]


@both_papers
def test_four_cards_lie_on_a_sheet_each_with_all_that_its_umpire_needs(paper: Paper) -> None:
    made = [a_card(official=f"Umpire {number}") for number in range(1, 6)]
    pages = read_pages(draw_briefing_cards(cards(*made), paper))
    assert len(pages) == 2
    for number in range(1, 6):
        assert f"Umpire {number}" in pages[(number - 1) // A_SHEET]
    for words in (
        "you",
        "Take-over 2: end, lanes 3–4, outside",
        "Event 0 4x100 m, heats: heats 1–2 10:05–10:10",
        "Seen from the end: Pass completed beyond the zone (TR24.7).",
        "Take care: Keep out of the running lanes. Phone down.",
        "Harbour Relays · 2026-06-12 09:40:12 CEST",
        "card 1 of 1",
    ):
        assert pages[0].count(words) == A_SHEET, words


@both_papers
def test_every_card_has_its_own_code_and_works_as_long_as_it_says(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(*crew(9)), paper)
    assert count_pages(pdf) == 3
    assert sorted(codes_on(pdf)) == [LINK.format(number) for number in range(1, 10)]
    works = [text for _, text in read_structure(pdf) if text.startswith("Scan to join.")]
    assert works == [WORKS] * 9


@both_papers
def test_the_link_can_be_read_by_the_code_alone(paper: Paper) -> None:
    """Whoever searches, copies or hears a file read must not come by somebody's link."""
    pdf = draw_briefing_cards(cards(*crew(1)), paper)
    told = [*read_pages(pdf), *read_info(pdf).values()]
    told += [str(one.get("/Alt", "")) for one in elements_of(pdf)]
    assert not [text for text in told if "join#" in text]
    assert LINK.format(1).rpartition(".")[2].encode() not in pdf


def drawn(*stands: StandDrawn) -> list[Shape]:
    """Over the whole width of a page, from its top."""
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_stands(flow, stands, 8.0)
    return list(flow.pages[0])


def thick_edges(shapes: Sequence[Shape]) -> list[Stroke]:
    return [one for one in shapes if isinstance(one, Stroke) and one.thickness == 4.0]


@pytest.mark.parametrize("is_inside", [True, False])
@pytest.mark.parametrize(("edge", "metres"), [(Edge.START, 0.0), (Edge.END, 20.0)])
def test_the_place_to_stand_is_at_the_watched_edge_on_its_side_of_the_track(
    edge: Edge, metres: float, is_inside: bool
) -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    stand = a_stand(zone=TWENTY_AND_TEN, edge=edge, is_inside=is_inside)
    top = flow.y
    draw_stands(flow, [stand], 8.0)
    shapes = flow.pages[0]
    (spot,) = [shape for shape in shapes if isinstance(shape, Disc)]
    (lane_1, *_) = [one for one in shapes if isinstance(one, Stroke) and one.thickness == 1.0]
    x = make_scale(TWENTY_AND_TEN, lane_1.x_from, flow.left + flow.width).x(metres)
    assert spot.x == x
    assert (spot.y < (top + flow.y) / 2) == is_inside
    thick = thick_edges(shapes)
    assert len(thick) == 2  # lanes 3 and 4
    assert {one.x_from for one in thick} == {x}


def test_a_zone_without_measures_is_broken_and_shows_none() -> None:
    """The same whatever its length may be: without a leg line, and not in one piece."""
    whole, broken = drawn(a_stand()), drawn(a_stand(zone=None))

    def grey(shapes: Sequence[Shape]) -> int:
        return sum(isinstance(one, Area) and one.grey == 0.86 for one in shapes)

    def dashed(shapes: Sequence[Shape]) -> int:
        return sum(isinstance(one, Stroke) and bool(one.dashes) for one in shapes)

    assert (grey(whole), dashed(whole)) == (1, 1)
    assert (grey(broken), dashed(broken)) == (2, 0)
    (told,) = [
        one["/Alt"]
        for one in elements_of(on_paper(a_card(drawings=(a_stand(zone=None),))))
        if one["/S"] == "/Figure"
    ]
    assert "is not known here" in str(told)


def top_of_lanes(stands: Sequence[StandDrawn]) -> float:
    """How far down the first lane begins."""
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_stands(flow, stands, 8.0)
    lanes = (one for one in flow.pages[0] if isinstance(one, Stroke) and one.thickness == 1.0)
    return next(lanes).y_from


@pytest.mark.parametrize("number", [1, 2])
def test_what_a_drawing_does_not_show_stands_above_its_lanes_and_is_read_aloud(number: int) -> None:
    note = "Lines not abreast: lane 4's lies 15 m on from lane 1's, along lane 4"
    bare = some_stands(number)
    noted = [replace(one, note=note) for one in bare]
    assert top_of_lanes(noted) >= top_of_lanes(bare) + 8.0
    pdf = on_paper(a_card(drawings=tuple(noted)))
    assert note in " ".join(text for _, text in read_structure(pdf))
    alts = [str(one["/Alt"]) for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert sum(note in one for one in alts) == number


@pytest.mark.parametrize("number", [1, 2, 3, 6])
def test_several_stands_are_drawn_beside_each_other_and_none_touches_another(number: int) -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_stands(flow, some_stands(number), 8.0)
    shapes, size = flow.pages[0], LARGE if number == 1 else SMALL
    spots = [(one.x, one.y) for one in shapes if isinstance(one, Disc)]
    assert len(spots) == number
    assert len(thick_edges(shapes)) == number
    for (x, y), (its_x, its_y) in combinations(spots, 2):
        if x == its_x:  # in a column
            assert abs(y - its_y) > 8 * size.lane + 2 * size.beside
        else:
            assert abs(x - its_x) == pytest.approx((flow.width + 10.0) / 2)
    assert max(y for _, y in spots) < flow.y


def on_paper(card: BriefingCard, paper: Paper = Paper.A4) -> bytes:
    return draw_briefing_cards(cards(card), paper)


def figures(pdf: bytes) -> list[str]:
    """Which stands are drawn, by what is read aloud for them."""
    alts = [str(one["/Alt"]) for one in elements_of(pdf) if one["/S"] == "/Figure"]
    return [one.partition(".")[0] for one in alts if one.startswith("Where to stand")]


@both_papers
@pytest.mark.parametrize("has_code", [True, False])
@pytest.mark.parametrize("number", [1, 2, 3, 6])
def test_all_stands_for_which_a_card_has_room_are_drawn_on_it(
    paper: Paper, number: int, has_code: bool
) -> None:
    link, works = (LINK.format(1), WORKS) if has_code else ("", "")
    pdf = on_paper(a_card(drawings=some_stands(number), link=link, works=works), paper)
    assert figures(pdf) == [f"Where to stand: Stand {one}" for one in range(1, number + 1)]
    assert "card 1 of 1" in read_text(pdf)
    assert "Not drawn" not in read_text(pdf)
    assert check_rims(pdf) == []


@both_papers
@pytest.mark.parametrize("sentences", [15, 50])
def test_stands_that_have_no_room_are_counted_and_the_first_ones_drawn(
    paper: Paper, sentences: int
) -> None:
    """On a card that is nearly full, and on the first of several."""
    advice = (
        Advice("Seen from the end", ("Pass completed beyond the zone (TR24.7).",) * sentences),
    )
    pdf = on_paper(a_card(drawings=some_stands(20), advice=advice), paper)
    drawn = figures(pdf)
    assert 1 < len(drawn) < 20
    assert drawn == [f"Where to stand: Stand {one}" for one in range(1, len(drawn) + 1)]
    text = " ".join(read_pages(pdf)[0].split())
    assert f"Not drawn: {20 - len(drawn)} further places to stand, told in words alone." in text
    assert f"card 1 of {1 if sentences == 15 else 2}" in text
    assert check_rims(pdf) == []


def test_drawings_cost_no_further_card_where_fewer_of_them_leave_room_for_the_day() -> None:
    """As many rounds as one card has room for beside two of three stands."""
    places = (Place((a_place(),), some_heats(22)),)
    pdf = on_paper(a_card(places=places, drawings=some_stands(3)))
    assert figures(pdf) == ["Where to stand: Stand 1", "Where to stand: Stand 2"]
    assert "Not drawn: 1 further place to stand, told in words alone." in read_text(pdf)
    assert "card 1 of 1" in read_text(pdf)


@given(
    st.lists(st.lists(st.integers(1, 9), max_size=40), min_size=1, max_size=6),
    st.booleans(),
    st.sampled_from(list(Paper)),
)
@settings(max_examples=20, deadline=None)
def test_however_many_heats_all_stand_on_the_cards_and_what_is_left_is_told(
    day: Sequence[Sequence[int]], has_code: bool, paper: Paper
) -> None:
    """Nothing is cut: a card without room says how many heats stand on the next one."""
    places = tuple(
        Place(
            (a_place(f"Place {place}"),),
            tuple(HeatsThere(f"P{place}R{one}: heats", "", many) for one, many in enumerate(its)),
        )
        for place, its in enumerate(day)
    )
    link, works = (LINK.format(1), WORKS) if has_code else ("", "")
    made = cards(a_card(places=places, link=link, works=works))
    told = [text for _, text in read_structure(draw_briefing_cards(made, paper))]
    wanted = [
        (f"P{place}R{one}:", many) for place, its in enumerate(day) for one, many in enumerate(its)
    ]
    for text in told:
        if text.startswith("On the next card:"):
            assert int(text.split()[4]) == sum(many for _, many in wanted)
        elif wanted and text.startswith(wanted[0][0]):
            wanted.pop(0)
    assert wanted == []


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
    link=LINK.format(1),
    works=WORKS,
    places=(Place((a_place("Ẫ" * 90), a_place("sail " * 30)), some_heats(60)),) * 3,
    advice=(Advice("Take care", ("Ẫ" * 300, "sail " * 400)),) * 4,
)


@both_papers
def test_every_dot_of_ink_is_at_least_8_mm_from_the_rim(paper: Paper) -> None:
    assert check_rims(draw_briefing_cards(cards(*crew(6)), paper)) == []
    pdf = draw_briefing_cards(cards(EXTREME, EXTREME, meet="W" * 120), paper)
    assert check_rims(pdf) == []


@both_papers
def test_a_card_that_is_too_long_goes_on_on_further_ones_and_loses_nothing(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(EXTREME, a_card()), paper)
    assert count_pages(pdf) > 2
    text = "".join(read_text(pdf).split())
    assert text.count("Ẫ") == 4 * 300 + 3 * 90
    assert text.count("sail") == 4 * 400 + 3 * 30
    assert text.count("heats:heats1–2") == 180 + 1
    assert "Onthenextcard:" in text
    assert codes_on(pdf) == [LINK.format(1)]


@settings(max_examples=25, deadline=None)
@given(st.text(max_size=120), st.text(max_size=300), st.sampled_from(list(Paper)))
def test_no_text_makes_a_card_fail_or_spoils_its_code(name: str, words: str, paper: Paper) -> None:
    card = a_card(
        official=name, link=LINK.format(7), works=WORKS, advice=(Advice("Take care", (words,)),)
    )
    assert codes_on(draw_briefing_cards(cards(card, meet=name), paper)) == [LINK.format(7)]


@both_papers
def test_cards_are_read_aloud_from_the_name_to_the_care_it_asks_for(paper: Paper) -> None:
    pdf = draw_briefing_cards(cards(*crew(2)), paper)
    told = read_structure(pdf)
    one = [
        "Take-over 2: end",
        "Event 0 4x100 m, heats: heats 1–2",
        "10:05–10:10",
        "Seen from the end:",
        "Take care:",
        "Harbour Relays",
    ]
    assert [text for role, text in told if role == "H1"] == ["Umpire 01", "Umpire 02"]
    words = " ".join(text for _, text in told)
    assert is_in_order(words, ["Umpire 01", *one, "Umpire 02", *one])
    alts = [str(one["/Alt"]) for one in elements_of(pdf) if one["/S"] == "/Figure"]
    assert "QR code: the personal link of Umpire 01." in alts
    assert sum(alt.startswith("Where to stand: 4x100, take-over 2: end.") for alt in alts) == 2
    assert read_info(pdf)["Title"] == "Briefing cards – Harbour Relays"


def test_the_same_cards_give_the_same_bytes() -> None:
    first = draw_briefing_cards(cards(), Paper.A4)
    draw_briefing_cards(cards(EXTREME), Paper.LETTER)
    assert draw_briefing_cards(cards(), Paper.A4) == first

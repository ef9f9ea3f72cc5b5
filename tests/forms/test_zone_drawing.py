"""The zone is drawn to scale, and every mark is on the picture or at its rim."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.forms.flow import Flow
from app.forms.infringement_form import draw_infringement_form
from app.forms.painting import Area, Disc, SetText, Stroke
from app.forms.paper import SIDE_MARGIN_MM, Paper
from app.forms.zone_drawing import draw_zone
from app.forms.zone_scale import (
    NUMBER_RADIUS,
    ZonePicture,
    can_draw,
    make_scale,
    place_marks,
    say_metres,
)
from tests.forms.builders import a_form, a_mark, a_zone
from tests.forms.pdf_reading import take_picture

# World Athletics TR24.3: 30 m with the leg line 20 m after the start.
# IAAF Rule 170 (2012): 20 m with the leg line in the middle, 10 m of acceleration zone before it.
THIRTY = a_zone()
TWENTY_AND_TEN = a_zone(length_m=20.0, leg_line_m=10.0, acceleration_m=10.0)
DOTS_PER_MM = 8
ZONE_GREY = 224  # 88 per cent white


def draw(picture: ZonePicture) -> Flow:
    """The picture on a page of its own."""
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_zone(flow, picture, "The zone, drawn to scale")
    return flow


def list_words(flow: Flow) -> list[str]:
    """What is written on the picture."""
    return [
        "".join(cluster.text for run in shape.line.runs for cluster in run.clusters)
        for shape in flow.pages[0]
        if isinstance(shape, SetText)
    ]


@given(st.floats(-40, 60), st.floats(-40, 60))
def test_equal_distances_are_equal_on_paper(one: float, other: float) -> None:
    scale = make_scale(THIRTY, 40.0, 555.0)
    on_paper = scale.x(other) - scale.x(one)
    assert on_paper == pytest.approx((other - one) * scale.points_per_metre, abs=1e-6)


def measure_grey_mm(picture: ZonePicture) -> float:
    """How wide the grey of the zone is on the printed sheet."""
    # A mark far outside stands at the rim, above the lane, and covers none of its grey.
    form = a_form(zones=(replace(picture, marks=(a_mark(90.0),)),))
    pdf = draw_infringement_form(form, Paper.A4)
    page = take_picture(pdf, 1, round(DOTS_PER_MM * 25.4))
    widest = 0
    for y in range(page.height):
        row = page.row(y)
        if ZONE_GREY in row:
            widest = max(widest, row.count(ZONE_GREY))
    return widest / DOTS_PER_MM


@pytest.mark.parametrize("picture", [THIRTY, TWENTY_AND_TEN])
def test_the_printed_zone_measures_what_the_scale_says(picture: ZonePicture) -> None:
    # Both pictures show 40 m: the zone's 30 m, or 10 m and 20 m, with 5 m on either side.
    printed_width_mm = 210 - 2 * SIDE_MARGIN_MM
    expected = picture.length_m / 40 * printed_width_mm
    # Zone lines and leg line cover some of the grey; each is at most 2 points (0.7 mm) thick.
    assert measure_grey_mm(picture) == pytest.approx(expected - 1.1, abs=0.7)


def test_start_end_and_leg_line_stand_at_their_distances() -> None:
    flow = draw(THIRTY)
    scale = make_scale(THIRTY, flow.left, flow.left + flow.width)
    upright = {
        shape.x_from
        for shape in flow.pages[0]
        if isinstance(shape, Stroke) and shape.x_from == shape.x_to and shape.thickness >= 1.0
    }
    assert {scale.x(0.0), scale.x(30.0), scale.x(20.0)} <= upright


def test_the_scale_bar_is_five_metres_long() -> None:
    flow = draw(THIRTY)
    scale = make_scale(THIRTY, flow.left, flow.left + flow.width)
    lengths = {
        round(shape.x_to - shape.x_from, 3)
        for shape in flow.pages[0]
        if isinstance(shape, Stroke) and shape.y_from == shape.y_to
    }
    assert "scale: 5 m" in list_words(flow)
    assert round(5 * scale.points_per_metre, 3) in lengths


@given(st.floats(-4.9, 34.9))
def test_the_mark_points_at_its_distance(metres: float) -> None:
    flow = draw(a_zone(a_mark(metres, uncertainty=0.0)))
    scale = make_scale(THIRTY, flow.left, flow.left + flow.width)
    diamonds = [s for s in flow.pages[0] if isinstance(s, Area) and len(s.corners) == 4]
    tips = [shape.corners[0][0] for shape in diamonds if shape.grey == 0.0]
    assert tips == [pytest.approx(scale.x(metres))]


def test_the_bar_of_uncertainty_is_to_scale() -> None:
    flow = draw(a_zone(a_mark(12.0, uncertainty=1.5)))
    scale = make_scale(THIRTY, flow.left, flow.left + flow.width)
    bars = [
        (shape.x_from, shape.x_to)
        for shape in flow.pages[0]
        if isinstance(shape, Stroke) and shape.y_from == shape.y_to and shape.thickness == 1.0
    ]
    assert (scale.x(10.5), scale.x(13.5)) in bars


@pytest.mark.parametrize("metres", [-7.25, 41.0])
def test_a_mark_outside_stands_at_the_rim_with_its_distance(metres: float) -> None:
    flow = draw(a_zone(a_mark(metres)))
    discs = [shape for shape in flow.pages[0] if isinstance(shape, Disc)]
    assert say_metres(metres) in list_words(flow)
    assert flow.left <= discs[0].x - NUMBER_RADIUS
    assert discs[0].x + NUMBER_RADIUS <= flow.left + flow.width


@given(st.lists(st.floats(-30, 60), max_size=10))
def test_numbers_of_marks_never_cover_each_other(places: list[float]) -> None:
    flow = draw(a_zone(*(a_mark(metres, uncertainty=0.0) for metres in places)))
    discs = sorted((s.y, s.x) for s in flow.pages[0] if isinstance(s, Disc))
    assert len(discs) == len(places)
    for (one_y, one_x), (next_y, next_x) in pairwise(discs):
        assert one_y != next_y or next_x - one_x >= 2 * NUMBER_RADIUS


def test_marks_of_a_further_zone_are_numbered_on() -> None:
    flow = Flow(Paper.A4, foot_height=20.0)
    draw_zone(flow, a_zone(a_mark(), a_mark(3.0)), "The zone, drawn to scale", first=4)
    assert {"4", "5"} <= set(list_words(flow))
    assert not {"1", "2"} & set(list_words(flow))


def test_the_acceleration_zone_is_hatched_and_named() -> None:
    old, new = draw(TWENTY_AND_TEN), draw(THIRTY)
    slanted = [s for s in old.pages[0] if isinstance(s, Stroke) and abs(s.x_to - s.x_from) > 0]
    scale = make_scale(TWENTY_AND_TEN, old.left, old.left + old.width)
    hatch = [stroke for stroke in slanted if stroke.y_from != stroke.y_to]
    inside = range(int(scale.x(-10.0)), int(scale.x(0.0)) + 2)
    assert hatch
    assert all(int(s.x_from) in inside and int(s.x_to) in inside for s in hatch)
    assert "acceleration zone" in list_words(old)
    assert "acceleration zone" not in list_words(new)


@pytest.mark.parametrize("length", [0.0, -1.0, float("nan"), float("inf"), 5000.0])
def test_measures_that_no_zone_has_are_not_drawn(length: float) -> None:
    assert not can_draw(a_zone(length_m=length))


@given(st.floats(), st.floats())
def test_any_number_can_be_a_mark(metres: float, uncertainty: float) -> None:
    marks = [a_mark(metres, uncertainty=uncertainty)] * 30
    placed = place_marks(marks, make_scale(THIRTY, 40.0, 555.0))
    flow = draw(a_zone(*marks))
    assert len(placed) in (0, 30)
    assert len(flow.pages) == 1


@pytest.mark.parametrize(
    ("metres", "words"),
    [(21.4, "21.40 m"), (-0.5, "\u22120.50 m"), (30.0, "30.00 m"), (-0.001, "0.00 m")],
)
def test_distances_are_said_to_the_centimetre(metres: float, words: str) -> None:
    assert say_metres(metres) == words

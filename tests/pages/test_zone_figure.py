"""The drawing of a zone for pages: to scale, numbered as the reports are, nothing over anything.

Zone of 30 m with its leg line at 20 m: World Athletics TR24.3, from the handbook's table; the older
20 m after an acceleration zone of 10 m: IAAF Rule 170 (2012).
"""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.forms.zone_scale import ZoneMark, ZonePicture
from app.pages.zone_figure import NARROW, WIDE, Numbered, ZoneFigure, draw

NOW = ZonePicture("take-over 1", 30.0, 20.0, 0.0, ())
BEFORE = ZonePicture("take-over 1", 20.0, 10.0, 10.0, ())
WITHIN = 0.005
"""Metres: far less than a line's width."""


def seen(*metres: float, uncertainty: float = 0.3) -> list[Numbered]:
    return [
        Numbered(number, "Bo", ZoneMark("baton", one, uncertainty, ""))
        for number, one in enumerate(metres, 1)
    ]


def metres_at(figure: ZoneFigure, x: float) -> float:
    """What a place on the picture means, by its zone's own length."""
    return (x - figure.start_x) / (figure.end_x - figure.start_x) * figure.length_m


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize("picture", [NOW, BEFORE])
def test_lines_figures_and_marks_stand_to_one_scale(picture: ZonePicture, width: float) -> None:
    figure = draw(1, picture, seen(1.2, 12.0, 19.4), width)
    assert metres_at(figure, figure.leg_x) == pytest.approx(picture.leg_line_m, abs=WITHIN)
    if picture.acceleration_m:
        assert figure.accelerates_x is not None
        assert metres_at(figure, figure.accelerates_x) == pytest.approx(-10.0, abs=WITHIN)
        assert figure.hatch
    else:
        assert figure.accelerates_x is None
        assert figure.hatch == ()
    for tick in figure.ticks:
        assert metres_at(figure, tick.x) == pytest.approx(tick.metres, abs=WITHIN)
    for spot in figure.spots:
        assert metres_at(figure, spot.x) == pytest.approx(spot.mark.metres, abs=WITHIN)
        assert spot.bar is not None
        long = metres_at(figure, spot.bar.x2) - metres_at(figure, spot.bar.x1)
        assert long == pytest.approx(0.6, abs=WITHIN)
    bar = figure.scale_bar
    five = (bar.x2 - bar.x1) / (figure.end_x - figure.start_x) * figure.length_m
    assert five == pytest.approx(5.0, abs=WITHIN)


def test_a_mark_beyond_the_picture_stands_at_its_rim_and_has_no_bar() -> None:
    figure = draw(1, NOW, seen(-12.4, 48.0), WIDE)
    told = {spot.number: (spot.outside, spot.x, spot.bar) for spot in figure.spots}
    assert told == {1: (-1, figure.left, None), 2: (1, figure.right, None)}


def test_a_zone_without_marks_is_drawn_bare() -> None:
    assert draw(2, NOW, [], NARROW).spots == ()


@given(st.lists(st.floats(-20, 50), max_size=8), st.floats(0, 10), st.sampled_from([WIDE, NARROW]))
def test_every_mark_keeps_its_number_and_no_two_discs_touch(
    metres: list[float], uncertainty: float, width: float
) -> None:
    figure = draw(1, NOW, seen(*metres, uncertainty=uncertainty), width)
    assert {spot.number: spot.mark.metres for spot in figure.spots} == dict(enumerate(metres, 1))
    inside = [spot for spot in figure.spots if not spot.outside]
    for one, other in combinations(inside, 2):
        assert max(abs(one.x - other.x), abs(one.y - other.y)) >= 2 * figure.radius
    for spot in figure.spots:
        assert figure.radius <= spot.y <= figure.lane_top - figure.radius

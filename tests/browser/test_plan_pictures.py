"""The crew plan in a browser: what it measures there, and whether it can be read on a phone.

All other tests of the plan read its path data; here a browser draws it.
"""

from __future__ import annotations

from math import pi

import pytest
from playwright.sync_api import Browser

from app.rules.relay import Relay
from tests.browser.looking import a_window
from tests.browser.whole_meet import load_all
from tests.builders import a_bare_meet
from tests.pages.builders import a_crew, a_whole_crew, drawn
from tests.running import Service

pytestmark = pytest.mark.browser

PAGE = "<!doctype html><title>Plan</title><style>svg{{display:block;width:100%}}</style>{}"
LENGTHS = "all => all.map(one => one.getTotalLength())"
SIZES = """all => all.map(one => { const box = one.getBoundingClientRect();
    return [one.textContent, box.height, box.left, box.right] })"""
SMALLEST_PX = 9.0
"""The height of a line of figures that can still be read at arm's length (common practice)."""


LETTERS = """all => all.filter(one => one.checkVisibility()).map(one =>
    [one.textContent, parseFloat(getComputedStyle(one).fontSize) * one.getScreenCTM().a])"""
LEAST_PX = 11.0
BESIDE_ITS_MARK = """all => all.map(one => [one, one.getBoundingClientRect(),
        one.previousElementSibling.getBoundingClientRect()])
    .filter(([one, box, mark]) => box.width && (box.left < mark.left || box.right > mark.right))
    .map(([one]) => one.textContent)"""
"""Numbers that run out of their dots."""


def test_lane_lines_measure_in_a_browser_what_the_track_measures(chromium: Browser) -> None:
    """Handbook of the trade, section 8: straights of 84.39 m, 36.50 m to the kerb, 1.22 m a lane.

    Browsers draw a quarter of a circle as a cubic curve, which is 0.014 % longer (measured).
    """
    page = chromium.new_page()
    page.set_content(PAGE.format(drawn(a_crew())[0]))
    lengths = page.eval_on_selector_all(".plan-lanes path", LENGTHS)
    assert lengths == [
        pytest.approx(2 * 84.39 + 2 * pi * (36.50 + 1.22 * edge), rel=0.00015) for edge in range(9)
    ]


@pytest.mark.parametrize("relay", [Relay.FOUR_BY_100, Relay.FOUR_BY_400])
@pytest.mark.parametrize("width", [320, 1200])
def test_what_is_written_can_be_read_on_a_phone_and_on_a_desk(
    chromium: Browser, width: int, relay: Relay
) -> None:
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.set_content(PAGE.format("".join(drawn(a_crew(a_whole_crew()[:-2], relay)))))
    texts = page.eval_on_selector_all("text:not(.plan-number)", SIZES)
    assert len(texts) > 50
    assert [text for text, height, *_ in texts if height < SMALLEST_PX] == []
    assert [text for text, _, left, right in texts if left < 0 or right > width] == []


@pytest.mark.parametrize(
    ("width", "height"), [(320, 640), (640, 320), (390, 844), (768, 1024), (1000, 600), (1440, 900)]
)
def test_no_letter_of_the_plan_is_too_small_and_every_post_has_its_number_in_each_picture(
    chromium: Browser, service: Service, width: int, height: int
) -> None:
    meet = load_all(a_bare_meet(service))
    with a_window(chromium, service, meet.organiser) as window:
        window.page.set_viewport_size({"width": width, "height": height})
        page = window.open(f"/meets/{meet.id}/organiser/crew")
        letters = page.eval_on_selector_all(".plan text", LETTERS)
        assert [one for one in letters if one[1] < LEAST_PX] == []
        numbers = set(page.locator(".posts td.number").all_text_contents())
        for picture in (".plan-track .plan-number", ".plan-enlarged .plan-post text"):
            shown = page.eval_on_selector_all(picture, LETTERS)
            assert {number for number, _ in shown} == numbers, picture
        beside = page.eval_on_selector_all(".plan-track .plan-number", BESIDE_ITS_MARK)
        assert beside == []

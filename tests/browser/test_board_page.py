"""The notice board in a real browser: on a phone, on a hall screen, and while things change."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.looking import a_window, faults, sideways
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

A_LOOK = "00:11"
"""A little more than the time from one reading to the next."""


def announce(meet: MeetAtHand) -> str:
    """Heat 1 with lane 4 disqualified, announced; the announcement's id."""
    report = meet.report()
    assert meet.rule(report["case"]).status_code == 201
    assert meet.load_result().status_code == 201
    said = meet.announce(despite="The second post was relieved.")
    assert said.status_code == 201, said.text
    return str(said.json()["id"])


@pytest.mark.both_engines
def test_what_is_announced_appears_by_itself_and_counts_down(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    options = {"viewport": {"width": 320, "height": 640}, "locale": "de-DE"}
    with a_window(chromium, service, **options) as window:
        window.page.clock.install()
        page = window.open(f"/meets/{meet.id}")
        expect(page.locator("#touch")).to_have_text("mit dem Server verbunden")
        assert faults(page) == []
        announced = announce(meet)
        page.clock.fast_forward(A_LOOK)
        expect(page.locator(f"#a-{announced}")).to_contain_text("DQ TR24.7")
        expect(page.locator("#windows .left")).to_contain_text("noch 29:")
        page.emulate_media(color_scheme="dark")
        assert faults(page) == []
        assert sideways(page) == 0
        page.click(f"#a-{announced} h3 a")
        expect(page.locator("#announcement .result")).to_be_visible()
        assert faults(page) == []
        assert sideways(page) == 0


def test_a_hall_screen_shows_what_is_new_at_once_and_can_be_held(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    options = {"viewport": {"width": 1920, "height": 1080}, "reduced_motion": "reduce"}
    with a_window(chromium, service, **options) as window:
        window.page.clock.install()
        page = window.open(f"/meets/{meet.id}?screen=hall")
        expect(page.locator("#nothing")).to_be_visible()
        announced = announce(meet)
        page.clock.fast_forward(A_LOOK)
        expect(page.locator(f"#leaf-{announced}")).to_be_visible()
        expect(page.locator(".leaf:visible")).to_have_count(1)
        fits = "document.documentElement.scrollHeight <= innerHeight"
        assert page.evaluate(fits)
        page.click("#hold")
        expect(page.locator("#hold")).to_have_text("Go on")
        assert faults(page) == []


def test_the_board_says_when_the_server_is_out_of_reach_and_heals(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service) as window:
        page = window.open(f"/meets/{meet.id}")
        expect(page.locator("#touch")).to_have_text("in touch with the server")
        page.context.set_offline(True)
        expect(page.locator("#touch")).to_contain_text("no connection")
        page.context.set_offline(False)
        expect(page.locator("#touch")).to_have_text("in touch with the server")

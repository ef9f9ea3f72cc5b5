"""The zone official's phone in a real browser: from a flag to a signed account, with and without a
network.
"""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looking import SIZES, Watched, a_window
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {
    "viewport": {"width": SIZES["phone"][0], "height": SIZES["phone"][1]},
    "has_touch": True,
}
RECEIVED = "[data-way=received]"


def open_zone(window: Watched, meet: MeetAtHand) -> Page:
    page = window.open(f"/meets/{meet.id}/zone")
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    return page


def own_reports(meet: MeetAtHand) -> list[dict[str, Any]]:
    return list(meet.umpire.get("reports").json())


def place_baton(page: Page, share: float = 0.6) -> None:
    box = page.locator("#drawing").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] * share, box["y"] + box["height"] / 2)


class Taps:
    """Counts what a thumb does."""

    def __init__(self, page: Page) -> None:
        self.page, self.made = page, 0

    def __call__(self, selector: str) -> None:
        self.page.locator(selector).first.tap()
        self.made += 1

    def baton(self) -> None:
        place_baton(self.page)
        self.made += 1


def test_a_complete_report_takes_six_taps_at_most(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        tap = Taps(page)
        tap("#yellow")
        tap("[data-do=lane][data-with='3']")
        tap("[data-do=seen][data-with=pass_completed_beyond_zone]")
        tap.baton()
        tap("#sign")
        assert tap.made <= 6
        expect(page.locator(f".entry {RECEIVED}")).to_be_visible()
    (report,) = own_reports(meet)
    assert report["state"] == "written"
    assert (report["lane"], report["heat"]) == (3, meet.heat())

"""A window that lapses: nobody does anything, and no entry tells of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looking import a_window
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

LEFT = timedelta(seconds=8)
"""Of the window; less than the time from one look of a page to the next."""


def pass_on(service: Service, page: Page, time: timedelta) -> None:
    """For the service and for the browser alike."""
    service.clock.move(time)
    page.clock.fast_forward(int(time.total_seconds() * 1000))


@pytest.mark.parametrize("place", ["desk/heats", "cases"])
def test_a_page_shows_by_itself_that_a_window_has_lapsed(
    chromium: Browser, service: Service, meet: MeetAtHand, place: str
) -> None:
    case = meet.report()["case"]
    assert meet.rule(case).status_code == 201
    assert meet.load_result().status_code == 201
    said = meet.announce(despite="The second post was relieved.")
    assert said.status_code == 201, said.text
    service.clock.move(timedelta(minutes=30) - LEFT)
    who, what = (meet.referee, case) if place == "cases" else (meet.desk, meet.heat())
    with a_window(chromium, service, who) as window:
        window.page.clock.install()
        page = window.open(f"/meets/{meet.id}/{place}/{what}")
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        expect(page.locator("[data-until]").first).to_contain_text("left")
        pass_on(service, page, LEFT + timedelta(seconds=1))
        expect(page.locator("[data-until]")).to_have_count(0)

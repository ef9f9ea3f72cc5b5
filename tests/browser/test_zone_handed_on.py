"""A phone that goes from one official to the next: the second sees and signs nothing of the first,
and what the first has not sent yet stays there, apart, until they join again.
"""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.looking import a_window, faults
from tests.browser.test_joining_page import a_link
from tests.browser.zone_phone import (
    PHONE,
    Thumb,
    kept_for_later,
    open_zone,
    own_reports,
    until,
)
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

HAS_PAGE = """async address => {
    for (const name of await caches.keys())
        if (await (await caches.open(name)).match(address)) return true;
    return false;
}"""


def join(page: Page, meet: MeetAtHand, home: str, who: str) -> None:
    """Open somebody's personal link, tap, and come to their first page."""
    page.goto(f"{home}/join#{a_link(meet, who)}")
    page.fill("#pin", "480213")
    page.locator("#join button").tap()
    page.wait_for_url(re.compile(f"/meets/{meet.id}"))


def is_offline(page: Page) -> None:
    expect(page.locator("#line")).to_have_attribute("data-state", "out of touch")


def test_joining_drops_the_kept_page_of_whoever_had_the_phone_before(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    zone = f"/meets/{meet.id}/zone"
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        page.route("**/api/meets/*/calls/*", lambda route: route.abort())
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        # Whoever joins goes somewhere else first, and the network goes before the zone's page came.
        page.route("**/start", lambda route: route.fulfill(body="joined", content_type="text/html"))
        join(page, meet, window.home, "second")
        assert page.evaluate(HAS_PAGE, zone) is False
        page.unroute_all()
        page.goto(window.home + zone)
        expect(page.locator(".zone-head .where")).to_contain_text(meet["second"].name)
        expect(page.locator("#waiting .note")).to_contain_text("2 items of other officials")
        expect(page.locator("#waiting .note")).to_contain_text("open their links here")
        assert faults(page) == []
        kept_for_later(page)
        page.context.set_offline(True)
        is_offline(page)
        page.locator("#white").tap()
        page.context.set_offline(False)
        until(page, lambda: len(meet["second"].get("watch").json()["calls"]) == 1)
        assert own_reports(meet) == []
        expect(page.locator("#waiting .unsent")).to_have_count(0)
        window.expects = {401}
        page.locator("form.leave button").tap()
        page.wait_for_url(f"{window.home}/meets/{meet.id}")
        join(page, meet, window.home, "umpire")
        page.goto(window.home + zone)
        until(page, lambda: [one["state"] for one in own_reports(meet)] == ["written"])


def test_a_window_of_the_first_official_is_turned_over_when_the_second_joins(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        # The server says nothing to this window: it learns of the other one by itself.
        page.route("**/watch", lambda route: route.abort())
        other = page.context.new_page()
        join(other, meet, window.home, "second")
        expect(page.locator(".zone-head .where")).to_contain_text(meet["second"].name)


def test_a_kept_page_that_came_back_after_joining_is_not_shown(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet)
        kept_for_later(page)
        page.close()
        page = page.context.new_page()
        page.goto(f"{window.home}/healthz")
        page.evaluate(
            "([meet, who]) => localStorage.setItem(`joined ${meet}`, who)",
            [meet.id, meet["second"].id],
        )
        page.context.set_offline(True)
        page.goto(f"{window.home}/meets/{meet.id}/zone", wait_until="commit")
        until(page, lambda: page.url.startswith("chrome-error"))

"""A phone whose storage is full: what is tapped and written is held by the page, told as that, and
sent all the same.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from tests.browser.looking import Watched, a_window, faults, sideways
from tests.browser.zone_phone import (
    PHONE,
    RECEIVED,
    Thumb,
    open_zone,
    own_calls,
    own_reports,
    until,
)
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

FULL = """
const start = IDBDatabase.prototype.transaction;
self.isFull = false;
IDBDatabase.prototype.transaction = function (places, mode, options) {
    if (self.isFull && mode === "readwrite") throw new DOMException("full", "QuotaExceededError");
    return start.call(this, places, mode, options);
};
"""
NONE_AT_ALL = "Object.defineProperty(self, 'indexedDB', { value: undefined });"


def open_and_fill(window: Watched, meet: MeetAtHand) -> Page:
    """The page, on a phone that can be read and takes nothing more."""
    window.page.add_init_script(FULL)
    page = open_zone(window, meet)
    page.evaluate("self.isFull = true")
    return page


def offline(page: Page) -> None:
    page.context.set_offline(True)
    expect(page.locator("#line")).to_have_attribute("data-state", "out of touch")


def flags(meet: MeetAtHand) -> list[str]:
    return [call["flag"] for call in own_calls(meet)]


def states(meet: MeetAtHand) -> list[str]:
    return [one["state"] for one in own_reports(meet)]


def test_what_a_full_phone_cannot_keep_is_held_told_and_sent_in_order(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_and_fill(window, meet)
        offline(page)
        page.locator("#white").tap()
        expect(page.locator("#held")).to_contain_text("stay here until everything is received")
        expect(page.locator("#news")).to_contain_text("This page alone holds it")
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("3 items")
        expect(page.locator(".entry [data-way=here]")).to_be_visible()
        expect(page.locator("#held")).to_be_visible()
        assert faults(page) == []
        assert sideways(page) == 0
        page.context.set_offline(False)
        until(page, lambda: states(meet) == ["written"])
        expect(page.locator(f".entry {RECEIVED}")).to_be_visible()
        expect(page.locator("#waiting .unsent")).to_have_count(0)
        expect(page.locator("#held")).to_be_visible()
    assert flags(meet) == ["white", "yellow"]


def test_an_account_can_be_written_and_signed_on_a_full_phone_with_a_network(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_and_fill(window, meet)
        page.locator("#yellow").tap()
        until(page, lambda: flags(meet) == ["yellow"])
        expect(page.locator("#held")).to_be_visible()
        page.locator("#later").tap()
        page.locator(".draft [data-do=go-on]").tap()
        page.locator("[data-do=lane][data-with='4']").first.tap()
        page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").first.tap()
        page.locator("#drawing").press("ArrowRight")
        page.locator("#sign").tap()
        until(page, lambda: states(meet) == ["written"])
    assert [one["lane"] for one in own_reports(meet)] == [4]


def test_leaving_asks_while_the_page_alone_holds_something_and_not_after_it(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    asked: list[str] = []

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_and_fill(window, meet)
        page.on("dialog", stay)
        offline(page)
        page.locator("#white").tap()
        expect(page.locator("#waiting .unsent")).to_contain_text("1 item")
        page.evaluate("setTimeout(() => location.reload(), 0)")
        until(page, lambda: asked == ["beforeunload"])
        expect(page.locator("#waiting .unsent")).to_contain_text("1 item")
        page.context.set_offline(False)
        until(page, lambda: flags(meet) == ["white"])
        expect(page.locator("#waiting .unsent")).to_have_count(0)
        page.reload()
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        assert asked == ["beforeunload"]


def test_what_was_held_is_kept_as_soon_as_the_phone_can_and_the_warning_goes(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_and_fill(window, meet)
        offline(page)
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        page.evaluate("self.isFull = false")
        expect(page.locator("#held")).to_be_hidden(timeout=20_000)
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        other = page.context.new_page()
        page.close()
        page.context.set_offline(False)
        other.goto(f"{window.home}/meets/{meet.id}/zone")
        until(other, lambda: states(meet) == ["written"])
    assert flags(meet) == ["yellow"]


def test_a_browser_without_any_storage_sends_what_is_tapped(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.page.add_init_script(NONE_AT_ALL)
        page = open_zone(window, meet)
        expect(page.locator("#held")).to_be_visible()
        Thumb(page).write_report()
        until(page, lambda: states(meet) == ["written"])

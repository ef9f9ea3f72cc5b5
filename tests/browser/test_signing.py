"""What is signed is under way until its answer is there: Escape leaves nobody in doubt."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.appeals.desk import a_disqualification
from tests.browser.looking import Watched, a_window, faults
from tests.browser.zone_phone import until
from tests.builders import PIN, MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser


def signing_an_announcement(window: Watched, meet: MeetAtHand) -> Page:
    """The desk has put an announcement together and is asked for the PIN."""
    a_disqualification(meet)
    assert meet.load_result().status_code == 201
    page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}")
    page.fill("#despite", "The post cannot be reached.")
    page.locator("#announce button[type=submit]").click()
    expect(page.locator("#signing-pin")).to_be_focused()
    return page


def sign_on_a_slow_line(page: Page, pin: str) -> Route:
    """Sign; the request waits until the test lets it go on."""
    held: list[Route] = []
    page.route("**/announcements/*", lambda one: one.fallback() if held else held.append(one))
    page.keyboard.type(pin)
    page.keyboard.press("Enter")
    until(page, lambda: bool(held))
    return held[0]


def escape_twice(page: Page) -> None:
    """A browser closes a dialog at the second, whatever the page says to the first."""
    page.keyboard.press("Escape")
    expect(page.locator("#signing")).to_be_visible()
    page.keyboard.press("Escape")


def test_a_signature_that_was_taken_after_escape_is_shown_as_taken(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.desk) as window:
        page = signing_an_announcement(window, meet)
        sent = sign_on_a_slow_line(page, PIN)
        escape_twice(page)
        sent.continue_()
        expect(page.locator("#announced")).to_contain_text("Announcement 1")
        expect(page.locator("#announce-part")).to_contain_text("Announced, and it still holds.")
        expect(page.locator("#signing")).to_be_hidden()


def test_a_signature_that_was_refused_after_escape_is_asked_for_again_and_the_form_works(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.desk) as window:
        page = signing_an_announcement(window, meet)
        sent = sign_on_a_slow_line(page, "918273")
        escape_twice(page)
        window.expects = {403}
        sent.continue_()
        expect(page.locator("#signing .problem")).to_be_visible()
        assert faults(page) == []
        page.keyboard.press("Escape")
        expect(page.locator("#signing")).to_be_hidden()
        page.locator("#announce button[type=submit]").click()
        expect(page.locator("#signing-pin")).to_be_focused()
        page.keyboard.type(PIN)
        page.keyboard.press("Enter")
        expect(page.locator("#announced")).to_contain_text("Announcement 1")


def test_a_signature_on_a_line_that_died_can_be_given_again(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.desk) as window:
        window.page.clock.install()
        page = signing_an_announcement(window, meet)
        sign_on_a_slow_line(page, PIN)
        page.clock.fast_forward("00:31")
        expect(page.locator("#signing .problem")).to_contain_text("nothing is done twice")
        page.fill("#signing-pin", PIN)
        page.keyboard.press("Enter")
        expect(page.locator("#announced")).to_contain_text("Announcement 1")

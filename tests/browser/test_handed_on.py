"""A tablet goes from hand to hand: what one official saw is not there for the next."""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect

from app.access.cookies import cookie_name
from tests.browser.launching import a_lasting_browser
from tests.browser.looking import a_window, home_of
from tests.builders import MeetAtHand, Person
from tests.running import Service

pytestmark = pytest.mark.browser

WORDS = "Both hands on the baton at the line."


def a_cookie(service: Service, who: Person) -> dict[str, object]:
    home = home_of(service)
    return {
        "name": cookie_name(who.meet, secure=False),
        "value": who.token,
        "url": home,
        "httpOnly": True,
    }


def a_tablet(playwright: Playwright, folder: Path) -> AbstractContextManager[BrowserContext]:
    """A browser that keeps pages for its back button; the library switches that off by default."""
    left_out = ["--disable-back-forward-cache"]
    return a_lasting_browser(playwright, folder, ignore_default_args=left_out, locale="en-GB")


def test_after_signing_off_the_back_button_shows_nothing_of_what_was_there(
    playwright: Playwright, service: Service, meet: MeetAtHand, tmp_path: Path
) -> None:
    case = meet.report(words=WORDS)["case"]
    with a_tablet(playwright, tmp_path) as context:
        context.add_cookies([a_cookie(service, meet.referee)])  # type: ignore[list-item]
        page = context.new_page()
        page.goto(f"{home_of(service)}/api/meets/{meet.id}/cases/{case}")
        expect(page.locator("body")).to_contain_text(WORDS)
        page.goto(f"{home_of(service)}/meets/{meet.id}/cases/{case}")
        expect(page.locator("#reports")).to_contain_text(WORDS)
        page.get_by_role("button", name="Sign this device off").click()
        expect(page.get_by_role("heading", name="Notice board")).to_be_visible()
        for _ in range(2):
            page.go_back()
            expect(page.locator("body")).to_contain_text("Join first")
            expect(page.locator("body")).not_to_contain_text(WORDS)


def a_case_open(service: Service, meet: MeetAtHand, page: Page) -> str:
    case = meet.report(words=WORDS)["case"]
    page.goto(f"{home_of(service)}/meets/{meet.id}/cases/{case}")
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    return str(case)


@pytest.mark.both_engines
def test_a_page_that_is_open_goes_when_its_session_is_ended_from_elsewhere(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.referee) as window:
        window.expects = {401}
        a_case_open(service, meet, window.page)
        assert meet.referee.delete("/api/me/session").status_code in {200, 204}
        expect(window.page.locator("main")).to_contain_text("Open your personal link")
        expect(window.page.locator("body")).not_to_contain_text(WORDS)


def test_what_is_typed_stays_when_the_session_ends_and_the_page_says_so(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.referee) as window:
        window.expects = {401}
        page = window.page
        a_case_open(service, meet, page)
        page.fill("#reasons", "I stood beside it, and")
        assert meet.referee.delete("/api/me/session").status_code in {200, 204}
        expect(page.locator("#line")).to_contain_text("This session has ended")
        assert page.input_value("#reasons") == "I stood beside it, and"


@pytest.mark.both_engines
def test_an_open_page_is_never_anothers_who_joins_in_the_same_browser(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.referee) as window:
        page = window.page
        case = a_case_open(service, meet, page)
        page.context.add_cookies([a_cookie(service, meet["chief_umpire"])])  # type: ignore[list-item]
        meet.report(by="second")
        expect(page.locator("header .who")).to_contain_text(meet["chief_umpire"].name)
        window.expects = {403}
        page.context.add_cookies([a_cookie(service, meet.desk)])  # type: ignore[list-item]
        meet.call("white")
        expect(page.locator("main")).to_contain_text("Your role does not allow this")
        assert case in page.url

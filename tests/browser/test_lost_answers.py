"""What was taken stays known where its answer was lost: nothing is done twice, nobody is stuck."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.appeals.desk import a_disqualification
from tests.browser.looking import a_window, faults
from tests.builders import PIN, MeetAtHand
from tests.running import SETUP_KEY, Service

pytestmark = pytest.mark.browser


def lose_the_next_answer(page: Page, address: str, method: str = "PUT") -> None:
    """The server takes what is sent to such an address; what it answers never arrives."""
    lost: list[Route] = []

    def lose(route: Route) -> None:
        if lost or route.request.method != method:
            route.fallback()
            return
        lost.append(route)
        route.fetch()
        route.abort()

    page.route(re.compile(address), lose)


def take_in_a_protest(page: Page, words: str) -> None:
    page.fill("#words", words)
    page.get_by_role("button", name="Take it in").click()


def test_a_protest_that_was_taken_and_then_changed_is_shown_as_it_was_taken_and_is_one(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.desk) as window:
        page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}/protest")
        page.select_option("#team", index=4)
        page.get_by_label("the placing").check()
        page.fill("#lodged-by", "Mira Anchor")
        lose_the_next_answer(page, "/protests/")
        take_in_a_protest(page, "They cut in.")
        expect(page.locator("#lodge > .problem")).to_be_visible()
        window.expects = {409}
        take_in_a_protest(page, "They cut in before us.")
        told = page.locator("#lodge > .problem")
        expect(told).to_contain_text("What you sent first has been taken")
        assert page.input_value("#words") == "They cut in before us."
        assert faults(page) == []
        told.get_by_role("button", name="Show what was taken").click()
        page.wait_for_url("**/protests/*")
        expect(page.locator("#lodged")).to_contain_text("They cut in.")
    assert len(meet.referee.get("protests").json()["protests"]) == 1


def test_what_was_signed_and_then_changed_is_told_as_taken_before_a_pin_is_asked_for(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    a_disqualification(meet)
    assert meet.load_result().status_code == 201
    with a_window(chromium, service, meet.desk) as window:
        page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}")
        page.fill("#despite", "The post cannot be reached.")
        page.fill("#remark", "Read aloud.")
        page.locator("#announce button[type=submit]").click()
        expect(page.locator("#signing")).to_be_visible()
        lose_the_next_answer(page, r"/announcements/[^?]*$")
        page.fill("#signing-pin", PIN)
        page.keyboard.press("Enter")
        expect(page.locator("#signing .problem")).to_be_visible()
        page.get_by_role("button", name="Back, sign nothing").click()
        window.expects = {409, 412}
        page.fill("#remark", "Read aloud at the finish.")
        page.locator("#announce button[type=submit]").click()
        told = page.locator("#announce > .problem:not(.changed-note)")
        expect(told).to_contain_text("What you sent first has been taken")
        told.get_by_role("button", name="Show what was taken").click()
        expect(page.locator("#announced")).to_contain_text("Read aloud.")
        expect(page.locator("#announce-part")).to_contain_text("Announced, and it still holds.")
    assert len(meet.desk.get("announcements").json()["announcements"]) == 1


def set_up_as(page: Page, name: str) -> None:
    page.fill("#key", SETUP_KEY)
    page.fill("#name", name)
    page.fill("#first_day", "2026-06-13")
    page.fill("#last_day", "2026-06-13")
    page.fill("#time_zone", "Europe/Paris")
    page.select_option("#edition", "world-athletics-2025")
    page.fill("#organiser", "Ada Pilot")
    page.get_by_role("button", name="Set up the meet").click()


def test_a_meet_that_was_taken_and_then_changed_leads_on_to_its_organisers_link(
    chromium: Browser, service: Service
) -> None:
    with a_window(chromium, service) as window:
        page = window.open("/set-up")
        lose_the_next_answer(page, "/api/meets/[^/]*$")
        set_up_as(page, "Quay Relays")
        told = page.locator("#new-meet > .problem")
        expect(told).to_be_visible()
        window.expects = {409}
        set_up_as(page, "Harbour Relays")
        expect(told).to_contain_text("set up as you sent it first")
        assert faults(page) == []
        told.get_by_role("button", name="Go on to the organiser's link").click()
        page.wait_for_url("**/join#*")
        expect(page.locator("#whose")).to_have_text("Ada Pilot")
        expect(page.locator("#which-meet")).to_have_text("Quay Relays")


def test_an_organisers_link_whose_answer_was_lost_is_asked_for_anew(
    chromium: Browser, service: Service
) -> None:
    with a_window(chromium, service) as window:
        page = window.open("/set-up")
        lose_the_next_answer(page, "/join-links/")
        set_up_as(page, "Quay Relays")
        expect(page.locator("#new-meet > .problem")).to_be_visible()
        page.get_by_role("button", name="Set up the meet").click()
        page.wait_for_url("**/join#*")
        expect(page.locator("#whose")).to_have_text("Ada Pilot")

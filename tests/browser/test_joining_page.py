"""Opening a personal link in a real browser."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.looking import a_window, faults, sideways
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser


def a_link(meet: MeetAtHand, who: str) -> str:
    """A fresh personal link's token."""
    answer = meet.organiser.put(f"officials/{meet[who].id}/join-links/{uuid4()}")
    assert answer.status_code == 201, answer.text
    return str(answer.json()["token"])


def test_a_link_is_looked_at_first_and_used_by_a_tap(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    token = a_link(meet, "umpire")
    with a_window(chromium, service) as window:
        page = window.open(f"/join#{token}")
        expect(page.locator("#whose")).to_have_text(meet.umpire.name)
        assert faults(page) == []
        window.expects = {403}
        page.fill("#pin", "918273")
        page.click("#join button")
        expect(page.locator("#join .problem")).to_contain_text("not the PIN you chose")
        assert page.input_value("#pin") == "918273"
        page.fill("#pin", "480213")
        page.click("#join button")
        page.wait_for_url(re.compile(f"/meets/{meet.id}"))
        cookies = page.context.cookies()
        assert [one["httpOnly"] for one in cookies if one["name"].startswith("session-")] == [True]


def test_the_page_for_joining_fits_a_narrow_phone_and_has_no_fault_in_the_dark(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    options = {"viewport": {"width": 320, "height": 568}, "color_scheme": "dark"}
    with a_window(chromium, service, **options) as window:
        page = window.open("/join")
        expect(page.locator("#no-link")).to_be_visible()
        assert faults(page) == []
        assert sideways(page) == 0
        window.expects = {403}
        page.fill("#link", "nonsense")
        page.click("#by-hand button")
        expect(page.locator("#no-link .problem")).to_contain_text("personal link is not good")
        assert faults(page) == []


def test_which_pins_are_refused_is_said_at_the_field_before_one_is_chosen(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    new = uuid4()
    named = meet.organiser.put(f"officials/{new}", {"name": "Rua Lookout", "roles": ["umpire"]})
    assert named.status_code == 201, named.text
    answer = meet.organiser.put(f"officials/{new}/join-links/{uuid4()}")
    with a_window(chromium, service) as window:
        page = window.open(f"/join#{answer.json()['token']}")
        expect(page.locator("#whose")).to_have_text("Rua Lookout")
        expect(page.locator("#pin")).to_have_accessible_description(
            re.compile("not one figure repeated, nor figures that count up or down")
        )
    with a_window(chromium, service) as window:
        page = window.open(f"/join#{a_link(meet, 'umpire')}")
        expect(page.locator("#pin")).to_have_accessible_description(re.compile("Enter the PIN"))

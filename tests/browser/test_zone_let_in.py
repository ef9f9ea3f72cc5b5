"""An official who has lost the role that shows flags: the phone says so, and keeps what was not
sent.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.looking import a_window, faults
from tests.browser.zone_phone import PHONE, Thumb, open_zone, own_reports, until
from tests.builders import MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

REFUSAL = '{"type":"/problems/role-missing","title":"","status":403,"detail":""}'


def give_role(meet: MeetAtHand, role: str) -> None:
    """The umpire's only one from now on."""
    seen = meet.organiser.get(f"officials/{meet.umpire.id}")
    sent = {key: seen.json()[key] for key in ("name", "affiliation", "active")}
    answer = meet.organiser.put(
        f"officials/{meet.umpire.id}", {**sent, "roles": [role]}, etag=seen.headers["ETag"]
    )
    assert answer.status_code == 200, answer.text


def test_whoever_lost_the_role_is_told_shows_no_flags_and_loses_nothing(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    narrow = {**PHONE, "viewport": {"width": 320, "height": 568}}
    with a_window(chromium, service, meet.umpire, **narrow) as window:
        window.page.clock.install()
        page = open_zone(window, meet)
        window.expects = {403}
        line = page.locator("#line")
        page.context.set_offline(True)
        expect(line).to_have_attribute("data-state", "out of touch")
        Thumb(page).write_report()
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        give_role(meet, "results")
        page.context.set_offline(False)
        expect(line).to_have_attribute("data-state", "refused", timeout=15_000)
        expect(line).to_have_text("the server does not let you in here any more")
        expect(page.locator("#let-in-no-more")).to_contain_text("kept on this phone and not sent")
        expect(page.locator("#bar")).to_have_text("No flags can be shown here now.")
        expect(page.locator("#yellow")).to_have_count(0)
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        assert faults(page) == []
        give_role(meet, "umpire")
        page.clock.fast_forward("00:21")
        expect(line).to_have_attribute("data-state", "in touch")
        until(page, lambda: [one["state"] for one in own_reports(meet)] == ["written"])
        expect(page.locator("#yellow")).to_be_visible()
        expect(page.locator("#let-in-no-more")).to_have_count(0)


def test_a_watch_that_the_service_refuses_says_so_and_is_asked_again(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.page.clock.install()
        page = open_zone(window, meet, keeps=False)
        window.expects = {403}
        page.context.set_offline(True)
        Thumb(page).write_report()
        page.route(
            "**/watch",
            lambda one: one.fulfill(
                status=403, content_type="application/problem+json", body=REFUSAL
            ),
        )
        page.context.set_offline(False)
        line = page.locator("#line")
        expect(line).to_have_attribute("data-state", "refused", timeout=15_000)
        expect(page.locator("#bar")).to_have_text("No flags can be shown here now.")
        expect(page.locator("#waiting .unsent")).to_contain_text("2 items")
        page.unroute_all()
        page.clock.fast_forward("00:21")
        expect(line).to_have_attribute("data-state", "in touch")
        until(page, lambda: [one["state"] for one in own_reports(meet)] == ["written"])


def test_a_gateway_that_asks_to_sign_in_ends_nobody_s_session(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {401}
        page.clock.install()
        page.route(
            "**/watch",
            lambda one: one.fulfill(status=401, content_type="application/json", body="{}"),
        )
        line = page.locator("#line")
        meet.start(1)
        expect(line).to_have_attribute("data-state", "out of touch")
        page.unroute_all()
        page.clock.fast_forward("00:10")
        expect(line).to_have_attribute("data-state", "in touch")

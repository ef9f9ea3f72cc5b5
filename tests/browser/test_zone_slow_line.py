"""A line that is slow, or on which something is never taken: a flag goes at once, and one thing
that does not arrive holds back nothing else.
"""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.looking import a_window, faults
from tests.browser.zone_phone import (
    PHONE,
    Thumb,
    open_zone,
    own_calls,
    own_reports,
    place_baton,
    until,
)
from tests.builders import MeetAtHand
from tests.pictures.photographs import drawn, saved
from tests.running import Service

pytestmark = pytest.mark.browser

PICTURES, CALLS = "**/api/meets/*/reports/*/pictures/*", "**/api/meets/*/calls/*"
NOTE_PATIENCE = """
const later = setTimeout;
self.patience = [];
self.setTimeout = (work, within) => (self.patience.push(within), later(work, within));
"""
PROXY = {"content_type": "text/html", "body": "<h1>No</h1>"}


def write_with_picture(page: Page) -> None:
    """A yellow flag, and its account with a picture of some thousand bytes."""
    page.locator("#yellow").tap()
    page.locator("[data-do=lane][data-with='3']").tap()
    page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").tap()
    place_baton(page)
    picture = saved(drawn(1600, 1200), "PNG")
    chosen = {"name": "zone.png", "mimeType": "image/png", "buffer": picture}
    page.locator("[data-pictures]").set_input_files(chosen)
    expect(page.locator(".picture")).to_contain_text("zone.png")
    page.locator("#sign").tap()


def line_is_back(page: Page) -> None:
    """What waits by itself is tried at once."""
    page.evaluate("dispatchEvent(new Event('online'))")


def states(meet: MeetAtHand) -> list[str]:
    return sorted(one["state"] for one in own_reports(meet))


def pictures(meet: MeetAtHand) -> list[int]:
    return [picture["size"] for one in own_reports(meet) for picture in one["pictures"]]


def flags_of(meet: MeetAtHand, heat: int) -> list[str]:
    """In the order in which the server had them."""
    found = [one for one in own_calls(meet) if one["heat"] == meet.heat(heat)]
    return [one["flag"] for one in sorted(found, key=lambda one: str(one["received_at"]))]


def test_flags_and_accounts_go_at_once_while_a_picture_is_under_way(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    under_way: list[Route] = []

    def hold(route: Route) -> None:
        under_way.append(route)

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.route(PICTURES, hold)
        write_with_picture(page)
        until(page, lambda: bool(under_way))
        Thumb(page).write_report(lane=4)
        until(page, lambda: states(meet) == ["written", "written"], seconds=10)
        assert pictures(meet) == []
        under_way[0].continue_()
        until(page, lambda: len(pictures(meet)) == 1)
        expect(page.locator("#waiting .unsent")).to_have_count(0)


def test_a_picture_that_a_proxy_never_takes_stays_here_and_holds_back_nothing(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    tried: list[str] = []

    def too_large(route: Route) -> None:
        tried.append(route.request.url)
        route.fulfill(status=413, **PROXY)

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {413}
        page.route(PICTURES, too_large)
        write_with_picture(page)
        until(page, lambda: len(tried) > 1)
        Thumb(page).write_report(lane=4)
        until(page, lambda: states(meet) == ["written", "written"])
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        expect(page.locator("#waiting .unsent")).to_contain_text("1 item")
        assert faults(page) == []
        page.unroute(PICTURES)
        line_is_back(page)
        until(page, lambda: len(pictures(meet)) == 1, seconds=5)


def test_flags_that_always_fail_wait_by_themselves_and_hold_back_no_other_heat(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    def fail_the_first_heat(route: Route) -> None:
        if route.request.post_data_json["heat"] == meet.heat():
            route.fulfill(status=502, **PROXY)
        else:
            route.continue_()

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {502}
        page.route(CALLS, fail_the_first_heat)
        page.locator("#white").tap()
        Thumb(page).write_report()
        until(page, lambda: states(meet) == ["written"])
        meet.start(1)
        expect(page.locator("#heat .name")).to_contain_text("heat 2")
        page.locator("#yellow").tap()
        until(page, lambda: flags_of(meet, 1) == ["yellow"])
        page.locator("#later").tap()
        page.unroute(CALLS)
        line_is_back(page)
        until(page, lambda: flags_of(meet, 0) == ["white", "yellow"], seconds=5)
        assert states(meet) == ["raised", "written"]


def test_a_flag_that_the_server_never_takes_holds_back_those_after_it_for_some_seconds_only(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    refused: list[str] = []

    def fail_white(route: Route) -> None:
        if route.request.post_data_json["flag"] == "white":
            refused.append(route.request.url)
            route.fulfill(status=500, **PROXY)
        else:
            route.continue_()

    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {500}
        page.route(CALLS, fail_white)
        page.locator("#white").tap()
        until(page, lambda: bool(refused))
        page.locator("#yellow").tap()
        page.locator("#later").tap()
        assert flags_of(meet, 0) == []
        until(page, lambda: flags_of(meet, 0) == ["yellow"], seconds=20)
        assert len(refused) == 3, "the later one goes right behind the third refusal"
        expect(page.locator("#waiting .unsent")).to_contain_text("1 item")
        page.unroute(CALLS)
        line_is_back(page)
        until(page, lambda: flags_of(meet, 0) == ["yellow", "white"], seconds=5)


def test_a_flag_does_not_wait_for_the_accounts_before_it(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    sent: list[str] = []

    def note(route: Route) -> None:
        sent.append("call" if "/calls/" in route.request.url else "account")
        if len(sent) == 2:
            slow.append(route)
        else:
            route.continue_()

    slow: list[Route] = []
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.context.set_offline(True)
        expect(page.locator("#line")).to_have_attribute("data-state", "out of touch")
        for lane in (3, 4):
            page.locator("#observe").tap()
            page.locator("[data-do=takeover][data-with='1']").tap()
            page.locator(f"[data-do=lane][data-with='{lane}']").tap()
            page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").first.tap()
            place_baton(page)
            page.locator("#sign").tap()
        page.locator("#yellow").tap()
        page.route("**/api/meets/*/calls/*", note)
        page.route("**/api/meets/*/reports/*", note)
        page.context.set_offline(False)
        until(page, lambda: len(slow) == 1)
        assert sent == ["call", "account"]
        page.locator("#later").tap()
        page.locator("#yellow").tap()
        slow[0].continue_()
        until(page, lambda: len(sent) == 4)
        assert sent == ["call", "account", "call", "account"]
        until(page, lambda: states(meet) == ["raised", "raised", "written", "written"])


def test_a_picture_may_take_as_long_as_it_needs_on_a_slow_line(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        window.page.add_init_script(NOTE_PATIENCE)
        page = open_zone(window, meet)
        write_with_picture(page)
        until(page, lambda: len(pictures(meet)) == 1)
        patience = page.evaluate("self.patience")
    (size,) = pictures(meet)
    assert size > 5000
    assert any(abs(one - (20_000 + size / 5)) < 1 for one in patience), (size, patience)


@pytest.mark.parametrize(
    ("status", "said"), [(413, '{"message":"too large"}'), (200, '{"portal":"sign in"}')]
)
def test_what_a_gateway_says_in_json_is_not_taken_for_the_service_s_word(
    chromium: Browser, service: Service, meet: MeetAtHand, status: int, said: str
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        window.expects = {status}
        gateway = {"status": status, "content_type": "application/json", "body": said}
        met: list[Route] = []

        def stand_between(one: Route) -> None:
            met.append(one)
            one.fulfill(**gateway)

        page.route(CALLS, stand_between)
        page.locator("#yellow").tap()
        until(page, lambda: bool(met))
        page.locator("#later").tap()
        expect(page.locator("#waiting .unsent")).to_contain_text("1 item")
        page.unroute_all()
        line_is_back(page)
        until(page, lambda: [one["flag"] for one in own_calls(meet)] == ["yellow"])

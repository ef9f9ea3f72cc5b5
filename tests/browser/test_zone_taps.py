"""Every tap counts, whatever the network does; what the page says of a flag is true of it."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from playwright.sync_api import Browser, Locator, Page, Route, expect

from app.ids import new_id
from tests.browser.looking import Watched, a_window, faults
from tests.browser.zone_phone import (
    PHONE,
    RECEIVED,
    Thumb,
    open_zone,
    own_calls,
    own_reports,
    until,
)
from tests.builders import PIN, MeetAtHand, a_post
from tests.running import Service

pytestmark = pytest.mark.browser


def held_back(page: Page, address: str, method: str = "PUT") -> list[Route]:
    """Requests that get no answer until the test gives it."""
    held: list[Route] = []

    def hold(route: Route) -> None:
        if route.request.method == method:
            held.append(route)
        else:
            route.continue_()

    page.route(address, hold)
    return held


def let_go(page: Page, held: Sequence[Route]) -> None:
    for route in held:
        route.continue_()
    page.unroute_all()


def yellow_flag(page: Page) -> None:
    """It is counted at once: the next step comes."""
    page.locator("#yellow").tap()
    expect(page.locator("#step-title")).to_have_text("Which lane?")
    page.locator("#later").tap()


def flags(meet: MeetAtHand) -> list[str]:
    return [call["flag"] for call in own_calls(meet)]


def news(page: Page) -> Locator:
    """What was said last, to be seen by everybody."""
    return page.locator("#news:visible")


def test_flags_count_while_send_now_waits_for_the_network(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        held = held_back(page, "**/api/meets/*/calls/*")
        yellow_flag(page)
        until(page, lambda: len(held) == 1)
        page.locator("#send-now").tap()
        for _tap in range(3):
            yellow_flag(page)
        expect(page.locator(".draft")).to_have_count(4)
        let_go(page, held)
        until(page, lambda: flags(meet) == ["yellow"] * 4)


def test_flags_count_while_a_key_is_registered_and_nobody_is_taken_away_from_them(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        held = held_back(page, "**/api/meets/*/me/keys/*")
        page.locator("#set-key").tap()
        page.fill("#pin", PIN)
        page.locator("#make-key").tap()
        until(page, lambda: len(held) == 1)
        page.locator("#back").tap()
        page.locator("#yellow").tap()
        expect(page.locator("#step-title")).to_have_text("Which lane?")
        let_go(page, held)
        expect(news(page)).to_contain_text("signs your reports with its own key")
        expect(page.locator("#step-title")).to_have_text("Which lane?")
        page.locator("#later").tap()
        expect(page.locator("#phone")).to_contain_text("signs your reports with its own key")


def test_flags_count_while_a_report_is_fetched_to_be_written_again(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        Thumb(page).write_report()
        until(page, lambda: [one["state"] for one in own_reports(meet)] == ["written"])
        (report,) = own_reports(meet)
        etag = f'"v{report["version"]}"'
        reason = {"reason": "Which hand?"}
        asked = meet.referee.post(f"reports/{report['id']}/return", reason, etag=etag)
        assert asked.status_code == 200, asked.text
        expect(page.locator(".question")).to_have_text("Which hand?")
        held = held_back(page, f"**/reports/{report['id']}", "GET")
        page.locator("[data-do=rewrite]").tap()
        expect(news(page)).to_have_text("Fetching your report.")
        until(page, lambda: len(held) == 1)
        page.locator("#yellow").tap()
        expect(page.locator("#step-title")).to_have_text("Which lane?")
        let_go(page, held)
        page.locator("#later").tap()
        expect(page.locator(".draft")).to_have_count(2)
        page.locator(f"#go-on-{report['id']}").tap()
        expect(page.locator(".note.question")).to_have_text("Which hand?")
        expect(page.locator("#drawing")).to_be_visible()


def test_a_double_tap_shows_one_flag_and_fast_taps_move_the_mark_each_time(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.evaluate("for (const _ of '12') document.getElementById('yellow').click()")
        page.locator("[data-do=lane][data-with='3']").tap()
        page.locator("[data-do=seen][data-with=pass_completed_beyond_zone]").tap()
        expect(page.locator("#drawing")).to_be_visible()
        page.evaluate(
            "for (const _ of '12345') document.querySelector('[data-do=step-by]').click()"
        )
        expect(page.locator("#reading")).to_contain_text("0.50 m before the end")
        until(page, lambda: flags(meet) == ["yellow"])
        assert len(own_reports(meet)) == 1


def test_a_tap_that_comes_after_its_step_answers_no_other_question(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    two = "for (const lane of '34') document.querySelector(`[data-do=lane][data-with='${lane}']`)"
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        page.locator("#yellow").tap()
        expect(page.locator("#step-title")).to_have_text("Which lane?")
        page.evaluate(f"{two}.click()")
        expect(page.locator("#step-title")).to_have_text("What was seen?")
        expect(page.locator(".about")).to_contain_text("lane 3")


def test_of_a_white_flag_that_has_gone_nothing_is_said_to_be_undone(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    with a_window(chromium, service, meet.umpire, **PHONE) as window:
        page = open_zone(window, meet, keeps=False)
        other = page.context.new_page()
        other.goto(page.url)
        expect(other.locator("#line")).to_have_attribute("data-state", "in touch")
        page.locator("#white").tap()
        expect(page.locator("#undo")).to_be_visible()
        # A yellow one, shown in another window, sends the white one before it.
        other.evaluate("document.getElementById('yellow').click()")
        until(page, lambda: flags(meet) == ["white", "yellow"], seconds=4)
        page.evaluate("document.getElementById('undo').click()")
        expect(news(page)).to_contain_text("White has been sent already, so it stays.")
        expect(news(page)).to_contain_text("show yellow")
        assert faults(page) == []
    assert flags(meet) == ["white", "yellow"]


def two_posts(meet: MeetAtHand) -> None:
    """The umpire watches a second edge as well."""
    seen = meet.organiser.get("crew").headers["ETag"]
    places = [
        a_post(meet.posts["umpire"], meet.umpire.id),
        a_post(new_id(), meet.umpire.id, take_over=2, edge="start", lanes=[5, 6]),
    ]
    planned = meet.organiser.put("crew", {"posts": places}, etag=seen)
    assert planned.status_code == 200, planned.text


def at_second_post(window: Watched, meet: MeetAtHand) -> Page:
    two_posts(meet)
    page = open_zone(window, meet, keeps=False)
    page.locator("[data-do=post]", has_text="Take-over 2").tap()
    expect(page.locator(".for-post")).to_contain_text("Take-over 2")
    return page


def test_of_two_posts_it_is_said_which_one_a_flag_was_shown_for(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    second = "Take-over 2 · start of the zone · lanes 5–6"
    narrow = {**PHONE, "viewport": {"width": 320, "height": 568}}
    with a_window(chromium, service, meet.umpire, **narrow) as window:
        page = at_second_post(window, meet)
        page.locator("#white").tap()
        expect(news(page)).to_have_text(f"White is shown: {second}.")
        expect(page.locator("#day li")).to_contain_text(second)
        assert faults(page) == []
        page.locator("#yellow").tap()
        expect(news(page)).to_have_text(f"Yellow is shown: {second}. Now the lane.")
        expect(page.locator(".about")).to_contain_text(second)
        page.locator("[data-do=lane][data-with='5']").tap()
        expect(page.locator("#step-title")).to_have_text("What was seen?")
        expect(page.locator("#news")).to_have_text("")
        page.locator("#later").tap()
        # Both flags, and the report that the yellow one raised.
        expect(page.locator(f"#day {RECEIVED}")).to_have_count(3)
        page.reload()
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        expect(page.locator("#day li")).to_have_count(3)
        for entry in page.locator("#day li").all():
            expect(entry).to_contain_text(second)

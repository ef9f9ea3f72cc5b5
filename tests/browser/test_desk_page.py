"""The results desk in a real browser: a finish list, its announcement, a protest, its decision."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.appeals.desk import a_disqualification, a_protest, announced, lodge
from tests.browser.looking import a_window, faults, home_of, sideways
from tests.browser.zone_phone import until
from tests.builders import PIN, Json, MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser

NARROW = {"viewport": {"width": 320, "height": 640}, "color_scheme": "dark"}
GOOD = "lane,time\n" + "\n".join(f"{lane},42.{lane}0" for lane in range(1, 9))
WRONG = GOOD.replace("42.30", "soon").replace("42.50", "DQ")


def a_file(content: str) -> dict[str, object]:
    return {"name": "heat-1.csv", "mimeType": "text/csv", "buffer": content.encode()}


def an_announced_disqualification(meet: MeetAtHand) -> Json:
    """The heat runs already: its result is announced with a disqualified team."""
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    return ruling


def sign(page: Page) -> None:
    """Sign with the PIN, by the keyboard alone."""
    expect(page.locator("#signing")).to_be_visible()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#signing")).to_be_hidden()


def test_a_file_chosen_before_the_page_was_ready_is_looked_at_all_the_same(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    held: list[Route] = []

    def hold(one: Route) -> None:
        held.append(one)

    with a_window(chromium, service, meet.desk) as window:
        page = window.page
        page.route("**/js/files.js*", hold)
        page.goto(
            f"{home_of(service)}/meets/{meet.id}/desk/heats/{meet.heat()}", wait_until="commit"
        )
        page.set_input_files("#finish-file", a_file(GOOD))
        until(page, lambda: bool(held))
        for one in held:
            one.continue_()
        expect(page.locator(".file-seen .result tbody tr")).to_have_count(8)


def test_a_finish_list_is_mended_looked_at_loaded_and_announced(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    a_disqualification(meet)
    with a_window(chromium, service, meet.desk) as window:
        page = window.open(f"/meets/{meet.id}/desk")
        assert faults(page) == []
        page.get_by_role("link", name="heat 1").first.click()
        window.expects = {422}
        page.set_input_files("#finish-file", a_file(WRONG))
        expect(page.locator("table.problems tbody tr")).to_have_count(2)
        expect(page.locator("table.problems")).to_contain_text("“soon”")
        assert faults(page) == []
        page.set_input_files("#finish-file", a_file(GOOD))
        expect(page.locator(".file-seen .result tbody tr")).to_have_count(8)
        expect(page.locator("#result")).to_contain_text("No finish list")
        page.keyboard.press("Enter")
        expect(page.locator("#result tbody tr")).to_have_count(8)
        expect(page.locator("#result tr.out")).to_contain_text("DQ TR24.7")
        page.fill("#despite", "The post cannot be reached.")
        page.locator("#announce button[type=submit]").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#signing .shows tbody tr")).to_have_count(8)
        expect(page.locator("#signing .shows tr.out")).to_contain_text("DQ TR24.7")
        assert faults(page) == []
        sign(page)
        expect(page.locator("#announced")).to_contain_text("Announcement 1")
        expect(page.locator("#heat-windows [data-until]")).to_contain_text("left")
        assert faults(page) == []
        page.emulate_media(color_scheme="dark")
        page.set_viewport_size({"width": 320, "height": 640})
        assert faults(page) == []
        assert sideways(page) == 0


def test_the_time_that_was_typed_counts_in_the_zone_of_the_meet(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    """Whatever zone the browser's own clock is in, also at the change of the hour."""
    with a_window(chromium, service, meet.desk, timezone_id="Asia/Kolkata") as window:
        page = window.open(f"/meets/{meet.id}/desk")
        found = page.evaluate(
            """async () => {
                const address = document.querySelector('script[src*="js/page.js"]').src;
                const { instantAt } = await import(address.replace("page.js", "times.js"));
                return [
                    instantAt("Europe/Paris", "2026-06-13", "14:09:30"),
                    instantAt("Europe/Paris", "2026-10-25", "02:30"),
                    instantAt("Europe/Paris", "2026-03-29", "02:30"),
                    instantAt("America/New_York", "2026-11-01", "12:00"),
                ];
            }"""
        )
    # Europe/Paris goes on at 01:00 UTC on 29 March 2026 and back at 01:00 UTC on 25 October 2026;
    # America/New_York goes back at 06:00 UTC on 1 November 2026 (tz database).
    assert found == [
        "2026-06-13T12:09:30.000Z",
        "2026-10-25T00:30:00.000Z",
        "",
        "2026-11-01T17:00:00.000Z",
    ]


def test_a_protest_is_taken_in_and_upheld_with_what_it_moves_shown_before(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    an_announced_disqualification(meet)
    with a_window(chromium, service, meet.desk) as window:
        page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}")
        page.click("#take-in")
        assert faults(page) == []
        page.select_option("#team", index=4)
        page.get_by_label("a ruling", exact=True).check()
        page.fill("#words", "The baton was inside.")
        page.fill("#lodged-by", "Mira Anchor")
        page.get_by_role("button", name="Take it in").click()
        expect(page.locator("#lodged .in-time")).to_contain_text("in time by")
        assert faults(page) == []
        address = page.url.removeprefix(window.home)
    with a_window(chromium, service, meet.referee) as window:
        page = window.open(address)
        page.get_by_label("upheld").check()
        page.locator("#decide [data-order]").first.check()
        expect(page.locator("#decide [data-foreseen] li").first).to_contain_text("Plover 1")
        window.expects = {422}
        page.select_option("#decide-another", "correct")
        told = page.locator("#decide [data-foreseen]")
        expect(told).to_contain_text("team that finished needs its time, its place, or both")
        expect(told).not_to_contain_text("/orders/")
        page.get_by_role("button", name="Leave this order out").click()
        expect(told.locator("li").first).to_contain_text("Plover 1")
        assert faults(page) == []
        page.get_by_role("button", name="The video shows it.").click()
        page.locator("#decide button[type=submit]").focus()
        page.keyboard.press("Enter")
        for said in ("upheld", "Plover 1", "The video shows it."):
            expect(page.locator("#signing .told")).to_contain_text(said)
        expect(page.locator("#signing .shows li").first).to_contain_text("Plover 1")
        sign(page)
        expect(page.locator("#decided")).to_contain_text("upheld")
        expect(page.locator("#next")).to_contain_text("amended result is to be announced")
        assert faults(page) == []


def test_what_was_foreseen_of_other_orders_never_shows_beside_those_that_are_chosen(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    with a_window(chromium, service, meet.referee) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        held: list[Route] = []

        def hold(route: Route) -> None:
            held.append(route)

        page.route("**/consequences", hold)
        page.get_by_label("upheld").check()
        order = page.locator("#decide [data-order]").first
        order.check()
        until(page, lambda: bool(held))
        page.evaluate(
            """() => new MutationObserver((seen) => { for (const one of seen)
                if (!one.target.hidden) window.wasShown = true; }).observe(
                document.getElementById("decide-foreseen"), { attributeFilter: ["hidden"] })"""
        )
        order.uncheck()
        held[0].continue_()
        page.wait_for_timeout(800)
        assert not page.evaluate("window.wasShown")
        page.unroute("**/consequences")
        order.check()
        expect(page.locator("#decide-foreseen li").first).to_be_visible()


@pytest.mark.parametrize("path", ["desk", "desk/rounds", "protests", "heat", "protest", "new"])
def test_each_page_of_the_desk_fits_a_narrow_window_and_has_no_fault_in_the_dark(
    chromium: Browser, service: Service, meet: MeetAtHand, path: str
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    heat = f"desk/heats/{meet.heat()}"
    found = {"heat": heat, "new": f"{heat}/protest", "protest": f"protests/{protest['id']}"}
    with a_window(chromium, service, meet.referee, **NARROW) as window:
        page = window.open(f"/meets/{meet.id}/{found.get(path, path)}")
        expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
        if shots := os.environ.get("SHOTS"):
            page.screenshot(path=Path(shots) / f"{path.replace('/', '-')}.png", full_page=True)
        assert faults(page) == []
        assert sideways(page) == 0

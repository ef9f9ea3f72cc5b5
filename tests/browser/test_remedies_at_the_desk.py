"""What the desk does about protests and appeals in a real browser: telling, taking in, paying,
taking back, putting a mistyped time right; windows, lots, and papers to print.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from app.clock import rfc3339
from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_protest,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    decided,
    jury_decides,
    lodge,
    set_aside,
)
from tests.browser.looking import Watched, a_window, faults, sideways
from tests.builders import PIN, Json, MeetAtHand
from tests.rounds.builders import two_heats
from tests.running import Service

pytestmark = pytest.mark.browser


@contextmanager
def at_the_desk(chromium: Browser, service: Service, meet: MeetAtHand) -> Iterator[Watched]:
    """The desk's window; at its end the page has no fault, nor where it is narrow and dark."""
    with a_window(chromium, service, meet.desk) as window:
        yield window
        assert faults(window.page) == []
        window.page.emulate_media(color_scheme="dark")
        window.page.set_viewport_size({"width": 320, "height": 640})
        assert faults(window.page) == []
        assert sideways(window.page) == 0


def sign(page: Page) -> None:
    expect(page.locator("#signing")).to_be_visible()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#signing")).to_be_hidden()


def press(page: Page, name: str) -> None:
    """Press a button by the keyboard."""
    page.get_by_role("button", name=name, exact=True).focus()
    page.keyboard.press("Enter")


def a_minute_before(time: str) -> str:
    """A time of day as a field holds it, a minute earlier."""
    return (datetime.fromisoformat(f"2026-01-01T{time}") - timedelta(minutes=1)).strftime(
        "%H:%M:%S"
    )


def an_announced_disqualification(meet: MeetAtHand) -> Json:
    """The first heat runs already: its result is announced with a disqualified team."""
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    return ruling


def a_decided_appeal(meet: MeetAtHand, verdict: str) -> tuple[Json, Json]:
    """A rejected protest, and the appeal against it as the jury has decided it."""
    protest = a_rejected_protest(meet, an_announced_disqualification(meet))
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name, verdict).status_code == 201
    orders = {"orders": set_aside(protest["ruled"])} if verdict == "upheld" else {}
    made = jury_decides(meet, lodged, names[0], verdict, **orders)
    assert made.status_code == 201, made.text
    return protest, dict(meet["jury"].get(f"appeals/{lodged['id']}").json())


def test_the_protesters_are_told_and_their_appeal_is_taken_in_with_what_it_asks_for(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    ruling = an_announced_disqualification(meet)
    protest = lodge(meet, a_protest(meet, ruling))
    decided(meet, protest)
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        press(page, "They have been told")
        expect(page.locator("#decided")).to_contain_text("The protesters were told at")
        page.locator("#appeal-intake summary").focus()
        page.keyboard.press("Enter")
        page.fill("#appeal-words", "The video was not looked at.")
        page.locator("#appeal [data-order]").first.focus()
        page.keyboard.press("Space")
        page.get_by_label("The deposit of 100 USD was received").check()
        page.fill("#paid-receipt", "R-17")
        assert faults(page) == []
        page.locator("#appeal button[type=submit]").focus()
        page.keyboard.press("Enter")
        expect(page.locator(".card[id^=appeal-]")).to_contain_text("receipt R-17")
    lodged = meet.referee.get(f"protests/{protest['id']}").json()["appeals"]
    sought = meet["jury"].get(f"appeals/{lodged[0]}").json()["sought"]
    assert [one["disqualification"] for one in sought] == [ruling["disqualification"]]


def test_a_deposit_that_comes_later_is_entered_and_an_appeal_taken_back(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    protest = a_rejected_protest(meet, an_announced_disqualification(meet))
    appeal(meet, protest, deposit=None)
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        page.fill("#receipt-1", "R-18")
        press(page, "Enter the deposit")
        card = page.locator(".card[id^=appeal-]")
        expect(card).to_contain_text("receipt R-18")
        page.locator("details[id^=back-] summary").click()
        page.fill("#back-by-1", "Mira Anchor")
        press(page, "Taken back")
        expect(card.locator("h2 .tag")).to_have_text("withdrawn")


@pytest.mark.parametrize(
    ("verdict", "outcome"), [("upheld", "returned"), ("rejected", "forfeited")]
)
def test_a_protest_page_tells_what_became_of_the_deposit(
    chromium: Browser, service: Service, meet: MeetAtHand, verdict: str, outcome: str
) -> None:
    protest, lodged = a_decided_appeal(meet, verdict)
    assert lodged["deposit"]["outcome"] == outcome
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        expect(page.locator(".card[id^=appeal-] h2 .tag")).to_have_text(verdict)
        expect(page.locator(".card[id^=appeal-]")).to_contain_text(outcome)


def test_a_protest_is_taken_back_and_waits_for_nobody(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        page.locator("#withdraw summary").focus()
        page.keyboard.press("Enter")
        press(page, "Taken back")
        expect(page.locator("#lodged > p .tag").first).to_have_text("withdrawn")
        expect(page.locator("#withdraw")).to_have_count(0)


def test_the_referee_sees_the_zone_with_what_umpires_marked_beside_a_protest(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    with a_window(chromium, service, meet.referee) as window:
        page = window.open(f"/meets/{meet.id}/protests/{protest['id']}")
        expect(page.locator("#reports .zone-wide svg")).to_be_visible()
        expect(page.locator("#reports .zone-marks li").first).to_contain_text("from the start")
        assert faults(page) == []
        page.set_viewport_size({"width": 320, "height": 640})
        expect(page.locator("#reports .zone-narrow svg")).to_be_visible()
        assert sideways(page) == 0


def test_a_time_that_was_typed_wrongly_is_put_right_and_its_windows_follow(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    a_disqualification(meet)
    assert meet.load_result().status_code == 201
    service.clock.move(timedelta(minutes=5))
    announced(meet)
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}")
        page.locator("details[id^=wrong-] summary").click()
        before = page.locator("#true-1-time").input_value()
        page.fill("#true-1-time", a_minute_before(before))
        page.fill("#why-1", "The minute was misread.")
        page.locator("details[id^=wrong-] button[type=submit]").focus()
        page.keyboard.press("Enter")
        sign(page)
        expect(page.locator("#announced")).to_contain_text("said at first:")
        expect(page.locator("#print")).to_be_visible()
        with page.expect_download() as sheet:
            page.locator("#announced .papers a[href$='.csv']").evaluate(
                "link => { link.download = 'result.csv'; link.click(); }"
            )
        assert sheet.value.failure() is None


def test_windows_that_run_stand_soonest_to_close_first(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    an_announced_disqualification(meet)
    service.clock.move(timedelta(minutes=5))
    decided(meet, lodge(meet, a_protest(meet)), advised_at=rfc3339(service.clock.now()))
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/desk")
        left = page.locator("#windows [data-until]")
        expect(left).not_to_have_count(0)
        ends = left.evaluate_all("all => all.map((one) => one.dataset.until)")
        assert len(ends) > 1
        assert ends == sorted(ends)


def test_lots_are_entered_in_the_order_in_which_they_were_drawn(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    event = two_heats(meet)
    event.set(by_time=1, lanes=3)
    event.run("heats 1", "42.100", "42.300", "42.500")
    event.run("heats 2", "43.000", "42.300", "42.200")
    with at_the_desk(chromium, service, meet) as window:
        page = window.open(f"/meets/{meet.id}/desk/rounds")
        lots = page.locator("form.lots")
        assert faults(page) == []
        lots.locator("select").nth(0).select_option(label="Curlew")
        lots.locator("select").nth(1).select_option(label="Gull")
        lots.locator("input[name=drawn_by]").fill("Finn Compass")
        lots.locator("button[type=submit]").focus()
        page.keyboard.press("Enter")
        sign(page)
        expect(lots).to_have_count(0)
        expect(page.locator("main")).to_contain_text("qD")

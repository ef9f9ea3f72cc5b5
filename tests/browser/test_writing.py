"""A form that somebody writes in stays as it is, says what has changed, and is not left unasked."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import Browser, Dialog, Page, expect

from app.clock import rfc3339
from app.ids import new_id
from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_protest,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    lodge,
)
from tests.browser.looking import a_window, faults
from tests.builders import PIN, Json, MeetAtHand
from tests.running import Service

pytestmark = pytest.mark.browser


def opened(page: Page) -> Page:
    """It follows the meet already."""
    expect(page.locator("#line")).to_have_attribute("data-state", "in touch")
    return page


def an_announced_disqualification(meet: MeetAtHand) -> Json:
    """The heat runs already: its result is announced with a disqualified team."""
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    return ruling


@pytest.fixture
def desk(chromium: Browser, service: Service, meet: MeetAtHand) -> Iterator[Page]:
    """A heat with a disqualified team, ready to be announced, at the results desk."""
    a_disqualification(meet)
    assert meet.load_result().status_code == 201
    with a_window(chromium, service, meet.desk) as window:
        yield opened(window.open(f"/meets/{meet.id}/desk/heats/{meet.heat()}"))


def test_a_form_that_is_again_as_it_came_no_longer_holds_its_part_back(
    desk: Page, meet: MeetAtHand
) -> None:
    desk.locator("#remark").press_sequentially("x")
    desk.keyboard.press("Backspace")
    desk.locator("#remark").blur()
    announced(meet)
    expect(desk.locator("#announce-part")).to_contain_text("Announced, and it still holds.")


def test_a_part_that_was_held_back_is_shown_as_it_is_now_once_nobody_is_in_it(
    desk: Page, meet: MeetAtHand
) -> None:
    desk.locator("#remark").press_sequentially("x")
    announced(meet)
    expect(desk.locator("#announced")).to_contain_text("Announcement 1")
    expect(desk.locator("#announce .moved-on")).to_be_visible()
    desk.keyboard.press("Backspace")
    desk.locator("#remark").blur()
    expect(desk.locator("#announce-part")).to_contain_text("Announced, and it still holds.")


def test_the_desk_is_told_that_what_it_writes_about_has_changed_and_keeps_every_word(
    desk: Page, meet: MeetAtHand
) -> None:
    desk.fill("#remark", "Read aloud at the finish.")
    announced(meet)
    note = desk.locator("#announce .moved-on")
    expect(note).to_contain_text("What you wrote stays.")
    assert faults(desk) == []
    note.get_by_role("button").click()
    expect(desk.locator("#announce-part")).to_contain_text("Announced, and it still holds.")
    expect(desk.locator("#remark")).to_have_value("Read aloud at the finish.")


def test_the_jury_keeps_verdict_orders_and_reasons_when_its_part_is_shown_anew(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = appeal(meet, a_rejected_protest(meet, an_announced_disqualification(meet)))
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    with a_window(chromium, service, meet[names[0]]) as window:
        page = opened(window.open(f"/meets/{meet.id}/jury/{lodged['id']}"))
        page.check("#decision input[value=upheld]")
        page.locator("#decision [data-order]").first.check()
        page.select_option("#decide-another", "correct")
        page.fill("#decision [data-order-kind] [data-part=time]", "42.35")
        page.fill("#decision-reasons", "The video settles it.")
        begun = page.locator("#decision form").get_attribute("data-etag")
        earlier = datetime.fromisoformat(lodged["lodged_at"]) - timedelta(microseconds=1)
        right = {"lodged_at": rfc3339(earlier), "reasons": "Typed wrongly.", "pin": PIN}
        address = f"appeals/{lodged['id']}/time-corrections/{new_id()}"
        corrected = meet.desk.put(address, right)
        assert corrected.status_code == 201, corrected.text
        page.locator("#decision .moved-on button").click()
        expect(page.locator("#decision form")).not_to_have_attribute("data-etag", begun or "")
        expect(page.locator("#decision .moved-on")).to_have_count(0)
        expect(page.locator("#decision input[value=upheld]")).to_be_checked()
        expect(page.locator("#decision [data-order]").first).to_be_checked()
        expect(page.locator("#decision [data-order-kind] [data-part=time]")).to_have_value("42.35")
        expect(page.locator("#decision-reasons")).to_have_value("The video settles it.")


def test_words_about_what_somebody_else_has_done_meanwhile_stay_to_be_copied(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    """The referee decides; the form in which the desk writes goes, its words do not."""
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    with a_window(chromium, service, meet.desk) as window:
        page = opened(window.open(f"/meets/{meet.id}/protests/{protest['id']}"))
        page.locator("#withdraw summary").click()
        page.fill("#withdraw-why", "They have seen the video.")
        back = {"by": "Mira Anchor", "reason": ""}
        etag = f'"v{protest["version"]}"'
        gone = meet.desk.post(f"protests/{protest['id']}/withdraw", back, etag=etag)
        assert gone.status_code == 200, gone.text
        page.locator("#withdraw .moved-on button").click()
        expect(page.locator("#withdraw")).to_have_count(0)
        expect(page.locator("blockquote")).to_have_text("They have seen the video.")


def test_whoever_leaves_a_page_with_words_that_were_not_sent_is_asked_first(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    protest = lodge(meet, a_protest(meet, an_announced_disqualification(meet)))
    with a_window(chromium, service, meet.desk) as window:
        window.open(f"/meets/{meet.id}/protests")
        page = opened(window.open(f"/meets/{meet.id}/protests/{protest['id']}"))
        asked: list[str] = []

        def stay(dialog: Dialog) -> None:
            asked.append(dialog.type)
            dialog.dismiss()

        page.on("dialog", stay)
        page.locator("#withdraw summary").click()
        page.locator("#withdraw-why").press_sequentially("They have seen the video.")
        with page.expect_event("dialog"):
            page.evaluate("history.back()")
        assert asked == ["beforeunload"]
        expect(page.locator("#withdraw-why")).to_have_value("They have seen the video.")
        page.get_by_role("button", name="Taken back").click()
        expect(page.locator("#lodged")).to_contain_text("They have seen the video.")
        assert asked == ["beforeunload"]


def test_a_time_without_its_day_and_another_day_without_its_time_are_asked_for(
    desk: Page, meet: MeetAtHand
) -> None:
    desk.fill("#despite", "The post cannot be reached.")
    desk.fill("#announced-day", "")
    desk.fill("#announced-time", "14:09:30")
    desk.locator("#announce button[type=submit]").click()
    expect(desk.locator("#announced-day")).to_be_focused()
    assert desk.eval_on_selector("#announced-day", "one => one.validity.valueMissing")
    desk.fill("#announced-time", "")
    desk.fill("#announced-day", "2026-01-02")
    desk.locator("#announce button[type=submit]").click()
    expect(desk.locator("#announced-time")).to_be_focused()
    desk.fill("#announced-day", "")
    desk.locator("#announce button[type=submit]").click()
    expect(desk.locator("#signing")).to_be_visible()

"""The jury at work in a browser: naming, voting, deciding; what others do appears by itself."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from app.ids import new_id
from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    jurors,
    name_panel,
)
from tests.browser.looking import a_window, faults, sideways
from tests.builders import PIN, Json, MeetAtHand
from tests.pictures.photographs import a_photograph
from tests.running import Service

pytestmark = pytest.mark.browser


def an_appeal(meet: MeetAtHand) -> Json:
    """An appeal about what two umpires reported, one of them with a picture."""
    seen = meet.report(by="second", words="Ganz klar hinter der Linie.")
    picture = f"reports/{seen['id']}/pictures/{new_id()}"
    added = meet["second"].put(
        picture, content=a_photograph(), headers={"Content-Type": "image/jpeg"}
    )
    assert added.status_code == 201, added.text
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    return appeal(meet, a_rejected_protest(meet, ruling))


def sign(page: Page) -> None:
    expect(page.locator("#signing")).to_be_visible()
    page.fill("#signing-pin", PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#signing")).to_be_hidden()


def name_the_panel(page: Page, meet: MeetAtHand, names: list[str]) -> None:
    for name, seat in zip(names, ("chair", "member", "member", "substitute"), strict=True):
        page.select_option(f"#seat-{meet[name].id}", seat)
    page.fill("#secretary-name", "Noor Quill")
    page.click("#naming button[type=submit]")
    expect(page.locator("#panel")).to_contain_text("0 of 3 have voted; quorum 3")


@pytest.mark.both_engines
def test_the_jury_names_its_panel_votes_and_decides(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = an_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    with a_window(chromium, service, meet[names[0]]) as window:
        page = window.open(f"/meets/{meet.id}/jury")
        assert faults(page) == []
        page.click("#waiting a")
        expect(page.locator("#naming")).to_be_visible()
        assert faults(page) == []
        name_the_panel(page, meet, names)
        page.click("#vote button[value=upheld]")
        sign(page)
        expect(page.locator("#panel")).to_contain_text("1 of 3 has voted")
        for name in names[1:3]:
            assert cast(meet, lodged, name).status_code == 201
        expect(page.locator("#panel")).to_contain_text("3 of 3 have voted")
        expect(page.locator("#decision form[data-decides]")).to_be_visible()
        page.check("#decision input[value=upheld]")
        page.check("#decision [data-order]")
        expect(page.locator("#decision [data-foreseen] li").first).to_be_visible()
        page.click("#decision .common")
        assert faults(page) == []
        page.click("#decision form[data-decides] button[type=submit]")
        expect(page.locator("#signing .shows li").first).to_be_visible()
        sign(page)
        expect(page.locator("#decision")).to_contain_text("3 to uphold, 0 to reject; quorum 3")
        assert faults(page) == []


def test_a_decision_can_be_put_together_of_orders_and_signed_with_the_keyboard_alone(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = an_appeal(meet)
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name)
    with a_window(chromium, service, meet[names[0]]) as window:
        page = window.open(f"/meets/{meet.id}/jury/{lodged['id']}")
        page.locator("#decision input[value=upheld]").focus()
        page.keyboard.press("Space")
        page.locator("#decide-another").focus()
        page.keyboard.press("ArrowDown")
        expect(page.locator("#decision [data-order-kind=disqualify] select").first).to_be_focused()
        expect(page.locator("#decision [data-foreseen]")).to_be_visible()
        page.locator("#decision [data-drop]").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#decide-another")).to_be_focused()
        page.locator("#decision [data-order]").first.focus()
        page.keyboard.press("Space")
        page.locator("#decision-reasons").focus()
        page.keyboard.type("The video settles it.")
        page.locator("#decision form[data-decides] button[type=submit]").focus()
        page.keyboard.press("Enter")
        expect(page.locator("#signing-pin")).to_be_focused()
        page.keyboard.type(PIN)
        page.keyboard.press("Enter")
        expect(page.locator("#summary h1")).to_contain_text("upheld")


def test_a_narrow_phone_in_the_dark_shows_all_of_an_appeal_without_a_fault(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = an_appeal(meet)
    names = a_panel(meet, lodged)
    for name in names:
        cast(meet, lodged, name, "rejected")
    options = {"viewport": {"width": 320, "height": 568}, "color_scheme": "dark", "locale": "de-DE"}
    with a_window(chromium, service, meet[names[0]], **options) as window:
        for path in ("jury", f"jury/{lodged['id']}", "record"):
            page = window.open(f"/meets/{meet.id}/{path}")
            expect(page.locator("html")).to_have_attribute("lang", "de")
            if path.startswith("jury/"):
                page.check("#decision input[value=upheld]")
                page.check("#decision [data-order]")
                expect(page.locator("#decision [data-foreseen]")).to_be_visible()
            assert sideways(page) == 0, path
            assert faults(page) == [], path


@pytest.mark.both_engines
def test_a_panel_named_by_another_meanwhile_is_told_before_it_is_named_anew(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = an_appeal(meet)
    names = jurors(meet, "Far Club", "Near Club", "", "Other Club")
    with a_window(chromium, service, meet[names[0]]) as window:
        page = window.open(f"/meets/{meet.id}/jury/{lodged['id']}")
        for name, seat in zip(names[:3], ("chair", "member", "member"), strict=True):
            page.select_option(f"#seat-{meet[name].id}", seat)
        page.fill("#secretary-name", "Noor Quill")
        assert name_panel(meet, lodged, [names[3], *names[:2]]).status_code == 200
        expect(page.locator("#panel")).to_contain_text("0 of 3 have voted")
        window.expects = {412}
        page.click("#naming button[type=submit]")
        expect(page.locator("#naming .problem").first).to_contain_text(
            "What you typed is still here"
        )
        assert page.input_value("#secretary-name") == "Noor Quill"
    panel = meet["jury"].get(f"appeals/{lodged['id']}").json()["panel"]
    assert panel["members"][0]["official"] == meet[names[3]].id

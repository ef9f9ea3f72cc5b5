"""An appeal in all that can befall it, in a real browser: late, a member asked aside or stepping
aside, a tie, a secretary who signs beside the chair, and a sitting once more.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.appeals.desk import (
    a_disqualification,
    a_panel,
    a_rejected_protest,
    announced,
    appeal,
    cast,
    jurors,
    jury_decides,
    name_panel,
    set_aside,
)
from tests.browser.looking import Watched, a_window, faults, sideways
from tests.builders import PIN, Json, MeetAtHand, a_meet, a_problem, add_official
from tests.running import Service

pytestmark = pytest.mark.browser


@contextmanager
def at_the_appeal(
    chromium: Browser, service: Service, meet: MeetAtHand, lodged: Json, who: str
) -> Iterator[Watched]:
    """An official's window on an appeal; without fault at its end, also narrow and dark."""
    with a_window(chromium, service, meet[who]) as window:
        window.open(f"/meets/{meet.id}/jury/{lodged['id']}")
        assert faults(window.page) == []
        yield window
        assert faults(window.page) == []
        window.page.emulate_media(color_scheme="dark")
        window.page.set_viewport_size({"width": 320, "height": 640})
        assert faults(window.page) == []
        assert sideways(window.page) == 0


def a_protest_that_was_rejected(meet: MeetAtHand) -> Json:
    """The first heat runs already."""
    ruling = a_disqualification(meet)
    assert meet.load_result().status_code == 201
    announced(meet)
    return a_rejected_protest(meet, ruling)


def sign(page: Page) -> None:
    expect(page.locator("#signing")).to_be_visible()
    page.keyboard.type(PIN)
    page.keyboard.press("Enter")
    expect(page.locator("#signing")).to_be_hidden()


def press(page: Page, selector: str) -> None:
    """Press a button, or open what is folded, by the keyboard."""
    page.locator(selector).focus()
    page.keyboard.press("Enter")


def a_late_appeal(meet: MeetAtHand) -> tuple[Json, list[str]]:
    """With its panel, the chair first."""
    protest = a_protest_that_was_rejected(meet)
    meet.service.clock.move(timedelta(minutes=40))
    lodged = appeal(meet, protest)
    return lodged, a_panel(meet, lodged)


def test_a_late_appeal_is_admitted_by_the_chair_with_a_reason(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged, names = a_late_appeal(meet)
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        press(page, "#admission .common >> nth=0")
        press(page, "#admission button[name=admit][value=true]")
        sign(page)
        expect(page.locator("#summary h1 .tag").first).to_have_text("admitted")
        expect(page.locator("#vote button[value=upheld]")).to_be_visible()


def test_a_late_appeal_is_turned_away_with_a_reason_and_nobody_votes_on_it(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged, names = a_late_appeal(meet)
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        press(page, "#admission .common >> nth=2")
        press(page, "#admission button[name=admit][value=false]")
        sign(page)
        expect(page.locator("#lodged")).to_contain_text("turned away")
        expect(page.locator("#lodged")).to_contain_text("It came late, without a reason.")
        expect(page.locator("#vote")).to_be_hidden()
        expect(page.locator("#decision form[data-decides]")).to_have_count(0)
    told = meet[names[0]].get(f"appeals/{lodged['id']}").json()
    assert (told["state"], told["admitted"]["admit"]) == ("rejected", False)
    a_problem(cast(meet, lodged, names[1]), 409, "conflict")


def test_a_member_whose_club_is_touched_is_asked_aside_and_a_substitute_sits(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = appeal(meet, a_protest_that_was_rejected(meet))
    *names, waiting = jurors(meet, "Far Club", "Club 5", "", "Other Club")
    assert name_panel(meet, lodged, names, [waiting]).status_code == 200
    aside = meet[names[1]].id
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        expect(page.locator("#panel .tag.wrong")).to_have_text("asked to withdraw")
        press(page, f"#aside-{aside} summary")
        press(page, f"#aside-{aside} .common")
        page.select_option(f"#aside-by-{aside}", meet[waiting].id)
        press(page, f"#aside-{aside} button[type=submit]")
        expect(page.locator("#panel")).to_contain_text("has withdrawn")


def test_a_member_steps_aside_and_votes_no_more(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = appeal(meet, a_protest_that_was_rejected(meet))
    names = a_panel(meet, lodged)
    aside = meet[names[1]].id
    with at_the_appeal(chromium, service, meet, lodged, names[1]) as window:
        page = window.page
        press(page, f"#aside-{aside} summary")
        page.fill(f"#aside-reasons-{aside}", "I coached the team.")
        press(page, f"#aside-{aside} button[type=submit]")
        expect(page.locator("#panel")).to_contain_text("has withdrawn")
        expect(page.locator("#vote")).to_be_hidden()


def test_with_equal_votes_the_page_says_what_decides(chromium: Browser, service: Service) -> None:
    meet = a_meet(service, terms={"jury": {"size": 3, "quorum": 2, "chair_casts": False}})
    meet.start()
    lodged = appeal(meet, a_protest_that_was_rejected(meet))
    names = a_panel(meet, lodged)
    for name, vote in zip(names, ("upheld", "rejected"), strict=False):
        assert cast(meet, lodged, name, vote).status_code == 201
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        expect(page.locator("#panel")).to_contain_text(
            "Where the votes are equal, the referee's decision stands."
        )
        page.check("#decision input[value=rejected]")
        press(page, "#decision form[data-decides] .common >> nth=0")
        press(page, "#decision form[data-decides] button[type=submit]")
        sign(page)
        expect(page.locator("#decision .made")).to_contain_text("1 to uphold, 1 to reject")


def test_the_secretary_sees_the_digest_and_signs_beside_the_chair(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged = appeal(meet, a_protest_that_was_rejected(meet))
    add_official(meet, "secretary", "organiser")
    names = a_panel(meet, lodged, secretary="", secretary_official=meet["secretary"].id)
    for name in names:
        assert cast(meet, lodged, name, "rejected").status_code == 201
    decided = jury_decides(meet, lodged, names[0], "rejected")
    assert decided.status_code == 201, decided.text
    with at_the_appeal(chromium, service, meet, lodged, "secretary") as window:
        page = window.page
        expect(page.locator("#beside code")).to_contain_text(
            decided.json()["decision"]["statement_digest"]
        )
        press(page, "#beside button[type=submit]")
        sign(page)
        expect(page.locator("#beside")).to_contain_text("You have signed this decision")


def an_appeal_that_was_upheld(meet: MeetAtHand) -> tuple[Json, list[str]]:
    """The jury has set the disqualification aside; gives the appeal and who sat, chair first."""
    protest = a_protest_that_was_rejected(meet)
    lodged = appeal(meet, protest)
    names = a_panel(meet, lodged)
    for name in names:
        assert cast(meet, lodged, name).status_code == 201
    orders = set_aside(protest["ruled"])
    assert jury_decides(meet, lodged, names[0], orders=orders).status_code == 201
    return lodged, names


def reopen(page: Page) -> None:
    """The jury sits once more, on new evidence."""
    press(page, "#reopen summary")
    page.fill("#reopen-evidence", "A second camera.")
    page.fill("#reopen-allowed", "Ines Rampart")
    page.fill("#reopen-reasons", "It shows the whole zone.")
    press(page, "#reopen button[type=submit]")
    sign(page)
    expect(page.locator("#summary")).to_contain_text("sitting 2")


def test_a_decision_is_looked_at_again_on_new_evidence_and_its_paper_stays(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged, names = an_appeal_that_was_upheld(meet)
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        reopen(page)
        paper = page.locator("#decision .made a").first.get_attribute("href")
        assert paper is not None
        assert page.request.get(window.home + paper).body().startswith(b"%PDF")


def test_a_second_sitting_votes_anew_and_decides_otherwise_beside_the_first(
    chromium: Browser, service: Service, meet: MeetAtHand
) -> None:
    lodged, names = an_appeal_that_was_upheld(meet)
    with at_the_appeal(chromium, service, meet, lodged, names[0]) as window:
        page = window.page
        reopen(page)
        expect(page.locator("#panel")).to_contain_text("0 of 3 have voted")
        press(page, "#vote button[value=rejected]")
        sign(page)
        for name in names[1:]:
            assert cast(meet, lodged, name, "rejected").status_code == 201
        expect(page.locator("#panel")).to_contain_text("3 of 3 have voted")
        page.check("#decision input[value=rejected]")
        press(page, "#decision form[data-decides] .common >> nth=0")
        press(page, "#decision form[data-decides] button[type=submit]")
        sign(page)
        sittings = page.locator("#decision .made")
        expect(sittings).to_have_count(2)
        for number, said in ((1, "3 to uphold, 0 to reject"), (2, "0 to uphold, 3 to reject")):
            sitting = sittings.filter(has_text=f"Sitting {number}")
            expect(sitting).to_contain_text(said)
            paper = sitting.locator("a[href$='.pdf']").get_attribute("href")
            assert page.request.get(f"{window.home}{paper}").body().startswith(b"%PDF")
    assert meet[names[0]].get(f"appeals/{lodged['id']}").json()["state"] == "rejected"
